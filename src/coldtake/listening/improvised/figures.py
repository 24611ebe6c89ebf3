"""The asked parts of a changes test, each with value, uncertainty and threshold.

The notes are placed in several ways: at every possible beginning of the form, and as much earlier
and later as the placing may err. The value is that of the likeliest, the uncertainty reaches to all
the others; what the notes themselves may be misread comes on top.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from coldtake.domain.criterion import ChangesTest
from coldtake.domain.take import Figure
from coldtake.listening.improvised.harmony import ChordTimeline
from coldtake.listening.improvised.measuring import Measured, OnBeats, Share
from coldtake.listening.verdict.thresholds import not_told
from coldtake.music.theory.tones import pitch_name

LEAST_STRONG, LEAST_CHANGES = 4, 2
FEW_SOUNDED_BEATS = 2.0
SURE_LENGTH_BEATS = 0.2  # a shorter note outside the range may be an overtone


@dataclass(frozen=True, slots=True)
class Errors:
    """How far notes may be misread.

    in_scale : percent; beats : of lengths; both half widths (95 %)
    misread : share of single notes at a place that are told wrongly; density : share of notes that
    may be too many or too few
    """

    in_scale: float
    misread: float
    beats: float
    density: float


OF_KEYS = Errors(0.5, 0.0, 0.1, 0.0)
OF_SOUND = Errors(2.5, 0.02, 0.5, 0.15)


def _of_places(misread: float, count: float) -> float:
    """Half width of a share of `count` places when each may be misread [percent]."""
    return 200.0 * float(np.sqrt(misread * (1.0 - misread) / max(count, 1.0)))


@dataclass(frozen=True, slots=True)
class _Asked:
    """One thing asked: value : of each way to place the notes, None where it cannot be told."""

    name: str
    unit: str
    threshold: float
    error: float
    most: bool
    words: Callable[[float], str]
    values: tuple[float | None, ...]
    doubt: float = 0.0


def figures_of(
    test: ChangesTest,
    ways: Sequence[Measured],
    ground: ChordTimeline,
    errors: Errors,
    until_beats: float,
) -> tuple[Figure, ...]:
    """Every figure asked for; ways : of placing the notes, the likeliest first.

    until_beats : beat of the form at which the take ends
    """
    asked = [*_shares(test, ways, errors), *_lengths(test, ways, errors)]
    found = [_choruses(test, ground, until_beats), *(_figure(a) for a in asked)]
    register = _register(test, ways[0].notes)
    return tuple(found if register is None else [*found, register])


def _shares(test: ChangesTest, ways: Sequence[Measured], errors: Errors) -> list[_Asked]:
    of_strong = _of_places(errors.misread, ways[0].strong.count)
    of_changes = _of_places(errors.misread, ways[0].arrivals.count)
    rows = (
        ("in scale", "% of the sound", test.in_scale_percent, errors.in_scale,
         "in_scale", FEW_SOUNDED_BEATS, "{:.0f}% of the sound in a scale of the chord"),
        ("strong beats", "% of the notes there", test.strong_beats_percent, of_strong,
         "strong", LEAST_STRONG, "{:.0f}% of the notes on strong beats are chord tones"),
        ("arrivals", "% of the changes", test.arrivals_percent, of_changes,
         "arrivals", LEAST_CHANGES, "{:.0f}% of the chord changes met by a third or seventh"),
    )  # fmt: skip
    return [
        _Asked(name, unit, threshold, error, False, words.format,
               tuple(_told(getattr(w, attribute), least) for w in ways),
               getattr(ways[0], attribute).doubt_percent)
        for name, unit, threshold, error, attribute, least, words in rows
        if threshold is not None
    ]  # fmt: skip


def _told(share: Share, least: float) -> float | None:
    return share.percent if share.count >= least else None


def _lengths(test: ChangesTest, ways: Sequence[Measured], errors: Errors) -> list[_Asked]:
    silence = tuple(w.longest_silence for w in ways)
    phrase = tuple(w.longest_phrase[1] for w in ways)
    spread = ways[0].longest_phrase[1] - ways[0].longest_phrase[0]
    density = tuple(w.per_bar for w in ways)
    of_density = errors.density * density[0]
    rows = (
        ("silence", "beats", test.silence_beats, errors.beats, True,
         "longest silence {:.1f} beats", silence, 0.0),
        ("phrase", "beats", test.phrase_beats, errors.beats, True,
         "longest phrase {:.1f} beats", phrase, spread),
        ("notes per bar, at least", "notes", test.least_per_bar, of_density, False,
         "{:.1f} notes in a bar", density, 0.0),
        ("notes per bar, at most", "notes", test.most_per_bar, of_density, True,
         "{:.1f} notes in a bar", density, 0.0),
    )  # fmt: skip
    return [
        _Asked(name, unit, threshold, error, most, words.format, values, doubt)
        for name, unit, threshold, error, most, words, values, doubt in rows
        if threshold is not None
    ]


def _figure(asked: _Asked) -> Figure:
    told = [v for v in asked.values if v is not None]
    value = asked.values[0]
    if value is None or len(told) < len(asked.values):
        return not_told(asked.name, asked.threshold, asked.unit, "not enough sound to tell")
    error = asked.error + asked.doubt + max(abs(v - value) for v in told)
    near = abs(value - asked.threshold) <= error and error > 0
    enough = value <= asked.threshold if asked.most else value >= asked.threshold
    return Figure(
        name=asked.name, value=value, uncertainty=error, threshold=asked.threshold,
        unit=asked.unit, passed=None if near else enough, words=asked.words(value),
    )  # fmt: skip


def _choruses(test: ChangesTest, ground: ChordTimeline, until_beats: float) -> Figure:
    """Measure whether the take reaches the last bar; how much sounded is the figure of silence."""
    value = max(min(until_beats / ground.form_beats, float(test.choruses)), 0.0)
    whole = until_beats >= ground.length_beats - ground.bar_beats
    bar = int(until_beats // ground.bar_beats) + 1
    of = round(ground.length_beats / ground.bar_beats)
    words = "played to the end" if whole else f"the take ends in bar {bar} of {of}"
    return Figure(
        name="choruses", value=value, uncertainty=0.0, threshold=float(test.choruses),
        unit="choruses", passed=whole, words=words,
    )  # fmt: skip


def _register(test: ChangesTest, notes: Sequence[OnBeats]) -> Figure | None:
    """Whether all notes lie within the range, as they sound; a doubtful one decides nothing."""
    if test.lowest is None and test.highest is None:
        return None
    if not notes:
        return not_told("range", 0.0, "notes outside", "no note was heard over the changes")
    low, high = test.lowest or 0, 127 if test.highest is None else test.highest
    beyond = [n for n in notes if not low <= n.pitch <= high]
    sure = [n for n in beyond if n.sure and n.offset - n.onset >= SURE_LENGTH_BEATS]
    lowest, highest = min(n.pitch for n in notes), max(n.pitch for n in notes)
    return Figure(
        name="range", value=float(len(beyond)), uncertainty=float(len(beyond) - len(sure)),
        threshold=0.0, unit="notes outside", passed=False if sure else (None if beyond else True),
        words=f"from {pitch_name(lowest)} to {pitch_name(highest)} as it sounds",
    )  # fmt: skip
