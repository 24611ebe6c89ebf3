"""Lines through changes that are worked on before improvising: scales, enclosures, a motif.

- the scale of each chord (the simplest of `chord_scales`) in eighths from its root, turning back at
  the octave;
- an enclosure: the third of each chord, held, after its upper neighbour in that chord's scale and
  the semitone below it, as the last two eighths of the chord before;
- a motif: degrees 1, 2, 3, 5 of each chord's scale in eighths.

Common practice, no source. low, high : written MIDI numbers, an octave or more apart.
"""

from collections.abc import Sequence
from fractions import Fraction

from coldtake.music.abc.notating import Written
from coldtake.music.notation.changes import Changes, HarmonySpan, guide_pair
from coldtake.music.theory.chord_scales import scale_choices
from coldtake.music.theory.chords import Chord
from coldtake.music.theory.tones import Pitch, Tone, ToneInterval, pitch_near, pitches_of, simplest

_EIGHTH = Fraction(1, 2)
_MOTIF = (0, 1, 2, 4)  # rungs of the scale: degrees 1, 2, 3, 5
_ROOT_FROM = 12  # semitones above the lowest note, below which roots are looked for


def scales(changes: Changes, low: int, high: int) -> list[Written]:
    """The simplest scale of each chord; a rest where there is none."""
    return [note for span in changes.spans for note in _scale(span, low, high)]


def _scale(span: HarmonySpan, low: int, high: int) -> list[Written]:
    rungs = _rungs(span.chord, low, high)
    if not rungs:
        return [Written(None, span.beats, chord=span.chord.symbol)]
    cycle = [*rungs, *reversed(rungs[1:-1])]
    return _in_eighths(span, cycle)


def _in_eighths(span: HarmonySpan, cycle: Sequence[Pitch]) -> list[Written]:
    """As many eighths as fit, the rest of the chord in its last note."""
    count = max(int(span.beats / _EIGHTH), 1)
    rest = span.beats - (count - 1) * _EIGHTH
    return [
        Written(
            cycle[i % len(cycle)],
            _EIGHTH if i < count - 1 else rest,
            chord=span.chord.symbol if i == 0 else "",
        )
        for i in range(count)
    ]


def _rungs(chord: Chord, low: int, high: int) -> list[Pitch]:
    """The scale from the lowest root in the range up to its octave."""
    choices = scale_choices(chord)
    if not choices:
        return []
    tones = [simplest(tone, most=2) for tone in choices[0].tones]
    starts = pitches_of(tones[0], low, low + _ROOT_FROM - 1)
    start = starts[0] if starts else pitch_near(tones[0], low)
    found = [start]
    for tone in [*tones[1:], tones[0]]:
        above = pitches_of(tone, found[-1].midi + 1, found[-1].midi + 12)
        if above and above[0].midi <= high:
            found.append(above[0])
    return found


def enclosures(changes: Changes, low: int, high: int) -> list[Written]:
    """Each chord's third, reached from above and below."""
    spans = changes.spans
    targets: list[Pitch | None] = []
    for span in spans:
        middle = (low + high) / 2
        before = next((p.midi for p in reversed(targets) if p is not None), middle)
        near = (before + middle) / 2  # nearest motion alone would wander out of the middle
        targets.append(_target(span.chord, near, low + 1, high - 2))
    notes: list[Written] = []
    for i, span in enumerate(spans):
        after = i + 1 if i + 1 < len(spans) else 0
        goal, chord = targets[after], spans[after].chord
        notes += _enclosed(span, targets[i], goal, chord, last=i + 1 == len(spans))
    return notes


def _target(chord: Chord, near: float, low: int, high: int) -> Pitch | None:
    pair = guide_pair(chord)
    if pair is None:
        return None
    own = pitches_of(simplest(pair[0]), low, high)
    return min(own, key=lambda p: (abs(p.midi - near), p.midi)) if own else None


def _enclosed(
    span: HarmonySpan, own: Pitch | None, goal: Pitch | None, chord: Chord, *, last: bool
) -> list[Written]:
    """One chord: its third held, then the two notes around the next one."""
    symbol = span.chord.symbol
    if last or goal is None or span.beats < 2:
        return [Written(own, span.beats, chord=symbol)]
    above, below = _neighbours(goal, chord)
    held = Written(own, span.beats - 1, chord=symbol)
    return [held, Written(above, _EIGHTH), Written(below, _EIGHTH)]


def _neighbours(goal: Pitch, chord: Chord) -> tuple[Pitch, Pitch]:
    """The next tone of the scale above, and the semitone below."""
    choices = scale_choices(chord)
    tones = choices[0].tones if choices else (goal.tone.above(ToneInterval(1, 2)),)
    over = [p for t in tones for p in pitches_of(simplest(t), goal.midi + 1, goal.midi + 3)]
    above = min(over, key=lambda p: p.midi) if over else goal.above(ToneInterval(1, 2))
    under = goal.above(ToneInterval(-1, -1))
    if abs(under.tone.alter) > 1:
        under = pitch_near(_spelled(goal.tone), goal.midi - 1)
    return above, under


def _spelled(tone: Tone) -> Tone:
    return simplest(tone.above(ToneInterval(-1, -1)))


def motif(changes: Changes, low: int, high: int) -> list[Written]:
    """Degrees 1, 2, 3, 5 of every chord's scale, then a rest; a short chord has its first notes."""
    notes: list[Written] = []
    for span in changes.spans:
        rungs = _rungs(span.chord, low, high)
        figure = [rungs[i] for i in _MOTIF if i < len(rungs)]
        fits = figure[: int(span.beats / _EIGHTH)]
        if not fits:
            notes.append(Written(None, span.beats, chord=span.chord.symbol))
            continue
        rest = span.beats - len(fits) * _EIGHTH
        last = len(fits) - 1
        notes += [
            Written(
                pitch,
                _EIGHTH + (rest if i == last and rest < 1 else 0),
                chord=span.chord.symbol if i == 0 else "",
            )
            for i, pitch in enumerate(fits)
        ]
        if rest >= 1:
            notes.append(Written(None, rest))
    return notes
