"""What each step was found to say about the player, kept until the step's past changes.

It depends on a step's past alone, which its print stands for, so it may be kept on disk too: the
filter of ten years takes many seconds, its result 1.6 kB a step.
"""

from typing import Any, NamedTuple

import msgspec
import numpy as np

from coldtake.domain.topic import TopicKind
from coldtake.learning.memory_law import Array
from coldtake.learning.prior import cloud

About = tuple[int, TopicKind]  # minutes that the player expects, and the topic's kind


class StepLikelihood(NamedTuple):
    """What a step says (nothing, or one array of cloud().type_chance's shape).

    step_print : that of the past it was found from; last_day : newest day in it (ordinal)
    """

    about: About
    step_print: str
    last_day: int
    said: tuple[Array, ...]


class LikelihoodCache(dict[str, StepLikelihood]):
    """What is known by step id; an entry of another log has another print.

    news : how much was found since it was last written
    """

    news = 0

    def find(self, step_id: str, known: StepLikelihood) -> StepLikelihood:
        """Remember what was just found."""
        self[step_id] = known
        self.news += 1
        return known


KNOWN = LikelihoodCache()

_Entry = tuple[int, TopicKind, str, int, bytes]
_DECODER = msgspec.msgpack.Decoder(dict[str, _Entry])


def write() -> bytes:
    """Return all that is known as bytes."""
    KNOWN.news = 0
    return msgspec.msgpack.encode({step_id: _entry(k) for step_id, k in list(KNOWN.items())})


def read(body: bytes) -> None:
    """Take in what `write` returned; anything else is left out."""
    shape: Any = cloud().type_chance.shape
    try:
        entries = _DECODER.decode(body)
        for step_id, (need, kind, step_print, last_day, said) in entries.items():
            arrays = (np.frombuffer(said).reshape(shape),) if said else ()
            KNOWN.setdefault(step_id, StepLikelihood((need, kind), step_print, last_day, arrays))
    except (msgspec.MsgspecError, ValueError):
        return


def _entry(known: StepLikelihood) -> _Entry:
    said = known.said[0].tobytes() if known.said else b""
    return (*known.about, known.step_print, known.last_day, said)
