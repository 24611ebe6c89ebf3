"""Improvisations over invented changes with everything known: notes, beats, chords.

Lines move by step with some leaps over a scale of each chord, in phrases with rests between,
straight or swung, with jitter; a share of the notes is taken outside the scale, a share of the
strong beats away from chord tones. All from a seed.
"""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from band import Instrument, Played, rise_of, start_used

from coldtake.music.notation.changes import Changes
from coldtake.music.notation.reading.charts import read_changes
from coldtake.music.theory.chord_scales import scale_choices
from coldtake.music.theory.tones import usual_interval

# Common progressions, no source.
FORMS = (
    ("Cmaj7 | Am7 | Dm7 | G7 | Em7 | A7 | Dm7 G7 | Cmaj7", (4, 4)),
    ("C7 | F7 | C7 | % | F7 | % | C7 | A7 | Dm7 | G7 | C7 A7 | Dm7 G7", (4, 4)),
    ("Dm7b5 | G7b9 | Cm7 | % | Fm7 | Bb7 | Ebmaj7 | G7b9", (4, 4)),
    ("Dm7 | % | % | % | Ebm7 | % | Dm7 | %", (4, 4)),
    ("Cmaj7 | F#m7b5 B7b9 | Em7 A7 | Dm7 G7 | Cmaj7 | Eb7 | Abmaj7 | G7", (4, 4)),
    ("Cmaj7 | Am7 | Dm7 | G7 | Cmaj7 | C7 | Fmaj7 | G7", (3, 4)),
)


@dataclass(frozen=True)
class Style:
    """How it is improvised. outside, off_chord : shares; swing : long over short."""

    bpm: float
    swing: float
    outside: float
    off_chord: float
    jitter_ms: float
    rest: float
    legato: float
    choruses: int = 1
    drift: float = 0.0


@dataclass(frozen=True)
class TrueNote:
    """onset_s : acoustic; start_s, end_s : of the key; beat : meant."""

    onset_s: float
    start_s: float
    end_s: float
    pitch: int
    beat: float
    rise_s: float = 0.0


@dataclass(frozen=True)
class Improvisation:
    """music_s : when beat 0 falls; beat_s : a quarter."""

    changes: Changes
    style: Style
    music_s: float
    beat_s: float
    played: tuple[Played, ...]
    notes: tuple[TrueNote, ...]


def style_of(rng: np.random.Generator, *, choruses: int = 1, drift: bool = False) -> Style:
    """Drawn at random."""
    return Style(
        bpm=float(rng.integers(80, 200)),
        swing=float(rng.choice([1.0, rng.uniform(1.4, 2.2)])),
        outside=float(rng.choice([0.0, 0.05, 0.15, 0.3, 0.6])),
        off_chord=float(rng.choice([0.1, 0.3, 0.6])),
        jitter_ms=float(rng.choice([5.0, 12.0, 20.0])),
        rest=float(rng.choice([0.08, 0.2, 0.4])),
        legato=float(rng.choice([0.7, 0.92, 1.0])),
        choruses=choruses,
        drift=float(rng.uniform(-0.04, 0.04)) if drift else 0.0,
    )


def changes_of_seed(rng: np.random.Generator) -> Changes:
    """One of the forms in a key drawn at random."""
    text, metre = FORMS[int(rng.integers(len(FORMS)))]
    return read_changes(text, metre).moved(usual_interval(int(rng.integers(-5, 7))))


def improvise(
    instrument: Instrument,
    bank: str,
    seed: int,
    *,
    style: Style | None = None,
    changes: Changes | None = None,
    lead_s: float = 1.0,
) -> Improvisation:
    """One improvisation with its truth."""
    rng = np.random.default_rng(seed)
    changes = changes or changes_of_seed(rng)
    style = style or style_of(rng)
    beat_s = 60.0 / style.bpm
    length = float(changes.bar) * changes.bars * style.choruses
    rows = _rows(rng, changes, style, instrument, length)
    played, notes = [], []
    for k, (beat, beats, pitch, velocity) in enumerate(rows):
        start = _time(beat, style, length, beat_s) + lead_s + rng.normal(0, style.jitter_ms / 1e3)
        end = (
            start
            + max(
                _time(beat + beats, style, length, beat_s) - _time(beat, style, length, beat_s),
                0.06,
            )
            * style.legato
        )
        if k + 1 < len(rows) and rows[k + 1][2] == pitch:
            end = min(end, start + 0.9 * beats * beat_s)
        start = start_used(max(start, 0.02))
        rise = rise_of(bank, instrument.program, pitch, velocity)
        played.append(Played(start, end, pitch, velocity))
        notes.append(TrueNote(start + rise.onset_s, start, end, pitch, beat, rise.rise_s))
    return Improvisation(changes, style, lead_s, beat_s, tuple(played), tuple(notes))


def _time(beat: float, style: Style, length: float, beat_s: float) -> float:
    whole, part = np.floor(beat + 1e-9), beat % 1.0
    if style.swing != 1.0 and abs(part - 0.5) < 1e-6:
        beat = float(whole + style.swing / (1.0 + style.swing))
    return beat_s * beat * (1.0 + style.drift * (beat / length - 0.5))


def _chord_at(changes: Changes, beat: float):
    form = float(changes.bar) * changes.bars
    at = Fraction(beat % form).limit_denominator(48)
    return next(s for s in changes.spans if s.onset <= at < s.onset + s.beats)


def _rows(rng, changes, style, instrument, length):
    low, high = instrument.low + 3, min(instrument.high - 3, instrument.low + 30)
    pitch, beat, rows = int((low + high) // 2), 0.0, []
    while beat < length - 0.5:
        if rng.random() < style.rest / 3.0:
            beat += float(rng.choice([0.5, 1.0, 1.5, 2.0, 4.0], p=[0.3, 0.3, 0.15, 0.15, 0.1]))
            continue
        beats = float(rng.choice([0.5, 1.0, 1.5, 2.0], p=[0.66, 0.2, 0.08, 0.06]))
        beats = min(beats, length - beat)
        pitch = _next(rng, _chord_at(changes, beat).chord, style, pitch, low, high, beat % 2 < 0.01)
        rows.append((beat, beats, pitch, int(np.clip(rng.normal(86, 10) // 4 * 4, 48, 120))))
        beat += beats
    return rows


def _next(rng, chord, style, pitch, low, high, strong):
    choices = scale_choices(chord)
    scale = {t.pitch_class for t in choices[0].tones}
    if strong and rng.random() > style.off_chord:
        allowed = {t.pitch_class for t in chord.tones}
    elif rng.random() < style.outside:
        allowed = set(range(12)) - scale
    else:
        allowed = scale
    near = [p for p in range(low, high + 1) if p % 12 in allowed]
    away = np.abs(np.array(near) - pitch)
    chance = np.exp(-away / 2.5) * np.where(away == 0, 0.3, 1.0)
    return int(rng.choice(near, p=chance / chance.sum()))
