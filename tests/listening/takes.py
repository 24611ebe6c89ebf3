"""Takes for the tests: FluidSynth plays Debian's bank FluidR3_GM; tuning used another bank."""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from band import BANKS, INSTRUMENTS, RATE, Played, synth
from passages import passage_of

from coldtake.listening.sources.sound import Sound
from coldtake.music.passage import Passage

BANK = "fluid"
HAVE_BANK = BANKS[BANK].exists()
WHY_NOT = "Debian's fluid-soundfont-gm is not installed"

# An invented tune: neighbouring and leaping intervals, repeated notes, a rest.
TUNE = (
    (67, 1.0), (69, 0.5), (71, 0.5), (72, 1.0), (72, 1.0), (None, 1.0), (76, 0.5), (74, 0.5),
    (71, 1.0), (71, 0.5), (71, 0.5), (67, 2.0), (69, 0.75), (66, 0.25), (67, 2.0),
)  # fmt: skip
OTHER = (
    (72, 0.5), (77, 0.5), (75, 1.0), (70, 1.0), (68, 0.5), (65, 0.5), (63, 1.0), (70, 1.0),
    (72, 0.5), (68, 0.5), (77, 1.0), (75, 2.0), (73, 1.0), (70, 1.0),
)  # fmt: skip
BPM = 100.0


def tune() -> Passage:
    return passage_of(TUNE, bpm=BPM, title="tune")


def other() -> Passage:
    return passage_of(OTHER, bpm=BPM, title="another tune")


def jitter(count: int, ms: float = 8.0, seed: int = 4) -> np.ndarray:
    return np.random.default_rng(seed).normal(0.0, ms / 1e3, count)


def keys(
    passage: Passage, bpm: float = BPM, lead_s: float = 0.5, held: float = 0.88
) -> list[Played]:
    """The passage played right, a little uneven, as a person does."""
    beat = 60.0 / bpm
    off = jitter(len(passage.notes))
    return [
        Played(
            lead_s + n.onset_beats * beat + off[k],
            lead_s + (n.onset_beats + held * n.duration_beats) * beat + off[k],
            n.pitch,
            88 + 8 * (k % 3),
        )
        for k, n in enumerate(passage.notes)
    ]


def sounded(instrument: str, notes: Sequence[Played]) -> Sound:
    return Sound(_render(instrument, tuple(notes)), RATE)


@lru_cache(maxsize=64)
def _render(instrument: str, notes: tuple[Played, ...]) -> np.ndarray:
    return synth(BANK).render(INSTRUMENTS[instrument].program, notes)
