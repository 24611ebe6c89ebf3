"""A recording read against a passage: every written note's playing, extra notes, going back.

Two looks: the first without a tempo; the second with the tempo and tuning that the first found, and
with a closer look at the places where a note should begin but no boundary was seen. What both leave
out or leave open is looked for once more, on its own (`second_look`).
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np

from coldtake.listening.alignment.note_verification import look_again
from coldtake.listening.alignment.performed_notes import (
    CLEAR_ATTACKS,
    DOUBTFUL_ATTACK,
    BackJump,
    PerformanceAlignment,
    PerformedNote,
    is_repeat,
    pace_of,
)
from coldtake.listening.alignment.segmental_viterbi import Ints, Kind, Path, Segment, align
from coldtake.listening.features.audio_features import AudioFeatures, Floats
from coldtake.listening.features.boundary_candidates import Boundaries, find_boundaries
from coldtake.listening.features.onsets import Own, find_offset, refine_onset
from coldtake.listening.features.partials import growth, settle_octaves, true_octave
from coldtake.listening.features.score_informed_nmf import PitchActivations, Stretch, learn
from coldtake.listening.features.tempo import local_period
from coldtake.listening.features.tones import Tone, exact_pitch, lower_octave_sounds, tone_between
from coldtake.music.passage import Passage

NEAR = 0.55  # semitones: a tone this near to the wanted pitch is that note, well or badly tuned
NEAR_SHARE = 0.3  # of the note's frames that must lie there
SURELY_GROWN = 0.7
OTHER = 0.75  # semitones: a tone nearer than this to the wanted pitch is not surely another
ASTRAY = (19.02, 24.0)  # where a pitch detector strays, and players hardly ever
SAME_S = 0.03  # two onsets this near are one attack


def read_take(hearing: AudioFeatures, passage: Passage) -> PerformanceAlignment:
    """Lay the passage along the recording and say what was heard of every note."""
    pitches = np.array([n.pitch for n in passage.notes], dtype=np.int64)
    beats = np.array([n.onset_beats for n in passage.notes])
    signs = np.array([n.ornament != "" for n in passage.notes])
    tuning = rough_tuning(hearing)
    hearing = settle_octaves(hearing, np.unique(pitches).astype(np.float64) + tuning)
    bounds = find_boundaries(hearing)
    grown = _grown(hearing, bounds, pitches, tuning)
    path = align(hearing, bounds, pitches, beats, tuning=tuning, grown=grown, ornamented=signs)
    period = _first_tempo(path, beats)
    if period is not None:
        tuning = _tuning_of(hearing, path, pitches, tuning)
        bounds = find_boundaries(hearing, _expected_places(path, beats, period))
        grown = _grown(hearing, bounds, pitches, tuning)
        at, rate = period

        def period_at(time_s: float) -> float:
            return float(np.interp(time_s, at, rate))

        path = align(
            hearing, bounds, pitches, beats,
            tuning=tuning, grown=grown, period=period_at, ornamented=signs,
        )  # fmt: skip
    return _collect(hearing, bounds, path, pitches, beats, tuning)


def _grown(hearing: AudioFeatures, bounds: Boundaries, pitches: Ints, tuning: float) -> Floats:
    """Growth of each note's partials at each boundary, shape (boundaries, notes)."""
    unique, which = np.unique(pitches, return_inverse=True)
    return growth(hearing, bounds.times_s, unique.astype(np.float64) + tuning)[:, which]


def rough_tuning(hearing: AudioFeatures) -> float:
    """How far the take stands from equal temperament at 440 Hz, semitones within +-0.5."""
    heard = hearing.pitch[hearing.voiced]
    if not len(heard):
        return 0.0
    turn = np.exp(2j * np.pi * heard).mean()
    return float(np.angle(turn) / (2 * np.pi)) if abs(turn) > 0.2 else 0.0


def _sounding(path: Path) -> list[Segment]:
    return [p for p in path.pieces if p.kind in (Kind.RIGHT, Kind.WRONG) and p.first_boundary >= 0]


def _first_tempo(path: Path, beats: Floats) -> tuple[Floats, Floats] | None:
    begun = _sounding(path)
    times = np.array([p.start_s for p in begun])
    at = np.array([beats[p.index] for p in begun])
    return local_period(at, times) if len(begun) >= 3 else None


def _tuning_of(hearing: AudioFeatures, path: Path, pitches: Ints, first: float) -> float:
    """Median distance of the right notes from their written pitch."""
    off = []
    for piece in path.pieces:
        if piece.kind == Kind.RIGHT:
            tone = tone_between(hearing, piece.start_s, piece.stop_s)
            if tone.pitch is not None and abs(tone.pitch - pitches[piece.index]) < 1.0:
                off.append(tone.pitch - pitches[piece.index])
    return float(np.median(off)) if len(off) >= 3 else first


def _expected_places(path: Path, beats: Floats, period: tuple[Floats, Floats]) -> list[float]:
    """Moments at which, by the tempo, a note should begin that the first look did not find."""
    begun = _sounding(path)
    wanted: list[float] = []
    for a, b in pairwise(begun):
        rate = float(np.interp(a.start_s, *period))
        ahead = [beats[k] - beats[a.index] for k in range(a.index + 1, len(beats))][:8]
        wanted += [a.start_s + d * rate for d in ahead if a.start_s + d * rate < b.start_s - 0.05]
    if begun:
        last = begun[-1]
        rate = float(np.interp(last.start_s, *period))
        wanted += [
            last.start_s + (x - beats[last.index]) * rate for x in beats[last.index + 1 :][:8]
        ]
    return [w for w in wanted if w > 0]


def _collect(
    hearing: AudioFeatures,
    bounds: Boundaries,
    path: Path,
    pitches: Ints,
    beats: Floats,
    tuning: float,
) -> PerformanceAlignment:
    playings: list[PerformedNote] = []
    goings: list[BackJump] = []
    kept: dict[int, PerformedNote] = {}
    extras: list[PerformedNote] = []
    forgotten: set[int] = set()  # heard once, and not again after going back
    furthest, held = -1, False
    since = 0.0
    own = _own_tones(hearing, path, pitches, tuning)
    clarity = _clarity(bounds, path, pitches)
    for piece in path.pieces:
        if piece.kind == Kind.REST:
            held, furthest = False, piece.index
            continue
        heard = _playing(hearing, bounds, piece, since, pitches, tuning, own)
        since = heard.onset_s
        playings.append(heard)
        if piece.kind == Kind.EXTRA:
            extras.append(heard)
            continue
        if piece.jumped:
            goings.append(BackJump(heard.onset_s, piece.index, furthest))
            forgotten |= {i for i in kept if i >= piece.index}
            kept = {i: p for i, p in kept.items() if i < piece.index}
            extras = [e for e in extras if e.after < piece.index]
        if _same_attack(kept, piece.index, heard.onset_s) and is_repeat(pitches, piece.index):
            if not _due_there(kept, piece.index, heard.onset_s, beats):
                continue
            del kept[piece.index - 1]
        goes_on = held and is_repeat(pitches, piece.index) and furthest == piece.index - 1
        held, furthest = True, piece.index
        judged = _unstruck(heard, clarity) if goes_on else heard
        if judged is not None:
            kept[piece.index] = judged
    told = PerformanceAlignment(
        tuple(playings), tuple(goings), kept, tuple(extras), tuning, clarity,
        unsure=frozenset(forgotten - kept.keys()),
    )  # fmt: skip
    return told if own is None or len(kept) < 3 else look_again(hearing, own, told, pitches, beats)


def _own_of(
    own: PitchActivations | None, piece: Segment, pitches: Ints, since_s: float
) -> Own | None:
    """Where to see the new note's own envelope: not where the same pitch sounded on."""
    pitch = int(pitches[piece.index])
    if own is None or piece.kind != Kind.RIGHT or pitch not in own.pitches:
        return None
    return None if is_repeat(pitches, piece.index) else Own(own, pitch, since_s)


def _own_tones(
    hearing: AudioFeatures, path: Path, pitches: Ints, tuning: float
) -> PitchActivations | None:
    """Each written pitch's own share of the sound, learned where it was found right."""
    stretches = []
    for piece in path.pieces:
        if piece.kind == Kind.RIGHT:
            tone = tone_between(hearing, piece.start_s, piece.stop_s)
            written = int(pitches[piece.index])
            if tone.pitch is not None and abs(tone.pitch - written - tuning) < NEAR:
                stretches.append(Stretch(written, piece.start_s, piece.stop_s))
    return learn(hearing.samples, stretches, {int(p) for p in pitches})


def _same_attack(kept: dict[int, PerformedNote], index: int, onset_s: float) -> bool:
    """Whether the note before already begins there: one attack is not two notes."""
    return index - 1 in kept and abs(kept[index - 1].onset_s - onset_s) < SAME_S


def _due_there(kept: dict[int, PerformedNote], index: int, onset_s: float, beats: Floats) -> bool:
    """Whether an attack comes nearer to when this note was due than to the note before."""
    earlier = [k for k in kept if k < index - 1]
    if not earlier:
        return False
    from_s, from_beat = kept[max(earlier)].onset_s, beats[max(earlier)]
    middle = 0.5 * (beats[index - 1] + beats[index])
    return bool(onset_s > from_s + pace_of(kept, beats) * (middle - from_beat))


def _clarity(bounds: Boundaries, path: Path, pitches: Ints) -> float:
    """How clear this take's attacks are, where another pitch leaves no doubt: a low decile."""
    clear = [
        bounds.attack[p.first_boundary]
        for p in _sounding(path)
        if p.kind == Kind.RIGHT and not is_repeat(pitches, p.index)
    ]
    return float(np.percentile(clear, 10)) if len(clear) >= 4 else 0.0


def _unstruck(heard: PerformedNote, clarity: float) -> PerformedNote | None:
    """A repeated note that goes on from the last: as heard, in doubt, or not there (None)."""
    if heard.attack >= DOUBTFUL_ATTACK:
        return heard
    return None if clarity > CLEAR_ATTACKS and heard.attack < 0.03 else replace(heard, right=None)


def _playing(
    hearing: AudioFeatures,
    bounds: Boundaries,
    piece: Segment,
    since_s: float,
    pitches: Ints,
    tuning: float,
    own: PitchActivations | None,
) -> PerformedNote:
    stop_s = piece.stop_s
    attack = float(bounds.attack[piece.first_boundary]) if piece.first_boundary >= 0 else 0.0
    its_own = _own_of(own, piece, pitches, since_s)
    onset = refine_onset(hearing, piece.start_s, stop_s, its_own, attack)
    offset = find_offset(hearing, onset.onset_s, stop_s)
    tone = tone_between(hearing, onset.onset_s, max(offset, onset.onset_s + 0.05))
    if piece.kind != Kind.RIGHT:
        tone = true_octave(hearing, tone, onset.onset_s, offset)
    plain = PerformedNote(
        None, None, onset.onset_s, onset.rise_s, offset, tone, attack, piece.index, onset.error_s
    )
    if piece.kind == Kind.EXTRA:
        return _exact(hearing, plain)
    wanted = float(pitches[piece.index]) + tuning
    tone = _near_tone(hearing, plain, wanted) if piece.kind == Kind.RIGHT else tone
    right = _is_right(hearing, replace(plain, tone=tone), wanted, piece)
    return _exact(hearing, replace(plain, index=piece.index, right=right, tone=tone))


def _exact(hearing: AudioFeatures, heard: PerformedNote) -> PerformedNote:
    """The playing with its pitch measured to the cent."""
    if heard.tone.pitch is None:
        return heard
    exact = exact_pitch(hearing, heard.onset_s, heard.offset_s, heard.tone.pitch)
    if exact is None:
        return heard
    return replace(heard, tone=replace(heard.tone, pitch=exact[0], error_cents=exact[1]))


def _near_tone(hearing: AudioFeatures, heard: PerformedNote, wanted: float) -> Tone:
    """The tone from the frames near the wanted pitch where the last note's rest covers others."""
    tone = heard.tone
    if tone.pitch is None or abs(tone.pitch - wanted) <= NEAR:
        return tone
    near = tone_between(hearing, heard.onset_s, heard.offset_s, around=wanted)
    return near if near.pitch is not None and near.voiced >= NEAR_SHARE else tone


def _is_right(
    hearing: AudioFeatures, heard: PerformedNote, wanted: float, piece: Segment
) -> bool | None:
    """Whether the tone has the wanted pitch; None where the sound does not tell."""
    tone = heard.tone
    if tone.pitch is None:
        return None
    off = tone.pitch - wanted
    if abs(off) <= NEAR:
        return True
    if abs(abs(off) - 12.0) < 0.5:
        return _octave_is_right(hearing, wanted, off, heard)
    if any(abs(abs(off) - far) < 0.5 for far in ASTRAY):
        return None
    grown = growth(hearing, np.array([piece.start_s]), np.array([wanted, tone.pitch]))[0]
    if grown[0] > SURELY_GROWN and grown[1] < grown[0] - 0.3:
        # The partials of a note an octave lower grow there too.
        lower = lower_octave_sounds(hearing, heard.onset_s, heard.offset_s, wanted - 12.0)
        return True if piece.kind == Kind.RIGHT and not lower else None
    clear = tone.voiced >= 0.6 and tone.frames >= 4 and tone.spread < 0.3
    if piece.kind == Kind.RIGHT and not (clear and grown[1] > max(0.5, grown[0] - 0.1)):
        return None
    return False if tone.voiced >= 0.5 and abs(off) >= OTHER else None


def _octave_is_right(
    hearing: AudioFeatures, wanted: float, off: float, heard: PerformedNote
) -> bool | None:
    low = min(wanted, wanted + off)
    at_low = lower_octave_sounds(hearing, heard.onset_s, heard.offset_s, low)
    if at_low is None:
        return None
    return at_low == (off > 0)
