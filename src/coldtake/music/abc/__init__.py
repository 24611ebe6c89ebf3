"""ABC notation to MEI, after the ABC music standard 2.1 (December 2011, abcnotation.com).

Our own reader, because verovio's loses repeat endings, gives grace notes full length and has no
tempo. Known limits: lyrics (w:), macros (m:) and text directives are skipped or refused.
"""

from coldtake.music.abc.read import read_tune
from coldtake.music.abc.write import to_mei

__all__ = ["abc_to_mei", "read_tune", "to_mei"]


def abc_to_mei(text: str) -> str:
    """One ABC tune as MEI; raises PassageError with line and column."""
    return to_mei(read_tune(text))
