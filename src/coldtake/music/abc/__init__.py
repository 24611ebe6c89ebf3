"""ABC notation to MEI, and notes to ABC, after the ABC music standard 2.1 (December 2011).

Our own reader, because verovio's loses repeat endings, gives grace notes full length and has no
tempo. Known limits: lyrics (w:), macros (m:) and text directives are skipped or refused.
Comes in: ABC text of one tune; `book` cuts a tunebook into tunes.
Begin with: `write.abc_to_mei`; the other way, exercises are written by `notating`.
"""
