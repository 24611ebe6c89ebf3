"""Pattern rules: scales, arpeggios, intervals, sequences, long tones and rhythms as notation.

A rule turns the rungs of a scale, from tonic to tonic within the range, into a line of pitches; the
rhythm, the articulation and the page do the rest. Keys and ranges are as written for the
instrument; what sounds follows from its transposition. The rules are common practice, no source.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from coldtake.errors import PassageError
from coldtake.music.abc.notating import Page, abc_text
from coldtake.music.exercises.rhythms import Rhythm, articulated, rhythm_named, set_to
from coldtake.music.theory.instruments import Instrument, instrument_named
from coldtake.music.theory.keys import Key, usual
from coldtake.music.theory.scales import ladder, scale_named
from coldtake.music.theory.tones import LETTERS, Pitch, Tone, pitches_of

Rungs = Sequence[Pitch]
_ONE_NOTE_CELLS = 16
OCTAVES_MOST = 2  # where nobody asks for more
_PREFERRED = {0: (0,), 2: (4, 3, 2, 5), 4: (7, 6, 8), 6: (10, 11, 9)}  # semitones, by letters


@dataclass(frozen=True, slots=True)
class Pattern:
    """What is asked for.

    rule : a name of RULES; tonic : as written; scale : a name of `scales.SCALES`
    low, high : written MIDI numbers, the instrument's usual range where None
    octaves : at most so many, in the usual range; stretched : beyond it, as far as it can reach
    """

    rule: str
    tonic: Tone
    scale: str = "major"
    rhythm: str = "eighths"
    metre: tuple[int, int] = (4, 4)
    articulation: str = "as it comes"
    instrument: str = "flute"
    octaves: int = OCTAVES_MOST
    low: int | None = None
    high: int | None = None
    stretched: bool = False

    @property
    def key(self) -> Key:
        """The key whose signature the pattern is written with."""
        return usual(self.tonic, scale_named(self.scale).mode)

    @property
    def title(self) -> str:
        """Such as "B♭ major, thirds"."""
        what = "" if self.rule == "scale" else f", {self.rule}"
        return f"{self.key.tonic} {self.scale}{what}"


def pitches(pattern: Pattern) -> tuple[Pitch, ...]:
    """The line of a pattern as written pitches. Raises PassageError."""
    if pattern.rule not in RULES:
        raise PassageError(
            f"“{pattern.rule}” is not a pattern known here.",
            remedy=f"Use one of: {', '.join(RULES)}.",
        )
    start, top = _compass(pattern)
    tonic = pattern.key.tonic
    up = ladder(tonic, pattern.scale, start.midi, top)
    down = ladder(tonic, pattern.scale, start.midi, top, descending=True)
    return RULES[pattern.rule](up, down)


def pattern_abc(pattern: Pattern) -> str:
    """A pattern as ABC text. Raises PassageError naming what does not fit."""
    instrument = instrument_named(pattern.instrument)
    page = _page(pattern, instrument, eighths=pattern.rhythm == "eighths")
    if pattern.rule == "long tones":
        rhythm = Rhythm("one a bar", (page.bar,))
    else:
        rhythm = rhythm_named(pattern.rhythm, pattern.metre)
    line = pitches(pattern)
    if pattern.rule == "one note":
        line = line * (len(rhythm.values) * _ONE_NOTE_CELLS)
    notes = set_to(line, rhythm, page.bar)
    return abc_text(page, articulated(notes, pattern.articulation))


def _page(pattern: Pattern, instrument: Instrument, *, eighths: bool) -> Page:
    page = Page(
        pattern.title,
        pattern.key,
        pattern.metre,
        clefs=instrument.clefs,
        sounds=instrument.sounds,
    )
    half_bars = eighths and pattern.metre == (4, 4)
    beam = Fraction(2) if half_bars else page.beat
    return replace(page, beam=beam)


def octaves_of(pattern: Pattern) -> int:
    """Octaves that a pattern goes through in its range. Raises PassageError."""
    start, top = _compass(pattern)
    return (top - start.midi) // 12


def _compass(pattern: Pattern) -> tuple[Pitch, int]:
    """The tonic to begin on and the highest note to use.

    Most octaves first, then least outside the usual range, then lowest. Where the usual range does
    not hold one octave, as in a voice, the pattern is stretched all the same.
    """
    low, high = _range(pattern, stretched=False)
    stretched = pattern.stretched or not pitches_of(pattern.key.tonic, low, high - 12)
    lowest, highest = _range(pattern, stretched=stretched)
    starts = pitches_of(pattern.key.tonic, lowest, highest - 12)
    if not starts or pattern.octaves < 1:
        raise PassageError(
            f"{pattern.title} has no octave within the range.", remedy="Widen the range."
        )

    def top(start: Pitch) -> int:
        return start.midi + 12 * min(pattern.octaves, (highest - start.midi) // 12)

    def ranked(start: Pitch) -> tuple[int, int, int]:
        outside = max(low - start.midi, 0) + max(top(start) - high, 0)
        return start.midi - top(start), outside, start.midi

    best = min(starts, key=ranked)
    return best, top(best)


def _range(pattern: Pattern, *, stretched: bool) -> tuple[int, int]:
    """Lowest and highest written note: the player's own, the usual ones, or as far as it goes."""
    instrument = instrument_named(pattern.instrument)
    usual = instrument.low, instrument.high
    low, high = (instrument.widest or usual) if stretched else usual
    own_low = min(low, usual[0]) if pattern.low is None else pattern.low
    own_high = max(high, usual[1]) if pattern.high is None else pattern.high
    return own_low, own_high


def _scale(up: Rungs, down: Rungs) -> tuple[Pitch, ...]:
    return (*up, *reversed(down[:-1]))


def _shape(*offsets: int) -> Callable[[Rungs, Rungs], tuple[Pitch, ...]]:
    """A figure of rungs begun on each rung: up the scale, then mirrored down to the tonic."""

    def line(up: Rungs, down: Rungs) -> tuple[Pitch, ...]:
        reach = max(offsets)
        rising = [up[at + o] for at in range(len(up) - reach) for o in offsets]
        falling = [down[at - o] for at in range(len(down) - 1, reach - 1, -1) for o in offsets]
        found = [*rising, *falling]
        return tuple(found if found[-1] == down[0] else [*found, down[0]])

    return line


def chord_rungs(rungs: Rungs, steps: Sequence[int]) -> tuple[Pitch, ...]:
    """The rungs that are chord tones, given as letters above the lowest rung.

    Where a scale has two of one letter, the perfect fifth, major third, minor seventh are taken.
    """
    tonic = rungs[0]
    wanted = set[int]()
    for step in steps:
        has = {(p.midi - tonic.midi) % 12 for p in rungs if _letters_above(tonic, p) == step}
        wanted |= {next(s for s in _PREFERRED[step] if s in has)} if has else set()
    return tuple(p for p in rungs if (p.midi - tonic.midi) % 12 in wanted)


def _letters_above(tonic: Pitch, pitch: Pitch) -> int:
    return (LETTERS.index(pitch.tone.letter) - LETTERS.index(tonic.tone.letter)) % 7


def _arpeggio(*steps: int) -> Callable[[Rungs, Rungs], tuple[Pitch, ...]]:
    def line(up: Rungs, _down: Rungs) -> tuple[Pitch, ...]:
        tones = chord_rungs(up, steps)
        return _scale(tones, tones)

    return line


def _one_note(up: Rungs, down: Rungs) -> tuple[Pitch, ...]:
    middle = (up[0].midi + down[-1].midi) / 2
    tonics = [p for p in up if p.tone == up[0].tone]
    return (min(tonics, key=lambda p: (abs(p.midi - middle), p.midi)),)


RULES: dict[str, Callable[[Rungs, Rungs], tuple[Pitch, ...]]] = {
    "scale": _scale,
    "arpeggio": _arpeggio(0, 2, 4),
    "seventh chord": _arpeggio(0, 2, 4, 6),
    "thirds": _shape(0, 2),
    "fourths": _shape(0, 3),
    "sixths": _shape(0, 5),
    "threes": _shape(0, 1, 2),
    "fours": _shape(0, 1, 2, 3),
    "up two and back": _shape(0, 1, 2, 0),
    "broken triads": _shape(0, 2, 4),
    "long tones": _scale,
    "one note": _one_note,
}
