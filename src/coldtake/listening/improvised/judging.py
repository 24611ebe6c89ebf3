"""The door for improvisations: a recording or keys, and changes, to a verdict with evidence.

Uncertainties are half widths within which 95 of 100 figures lay on rendered improvisations of the
tuning bank (bench/listening); what a take's own unsure notes and possible beginnings add comes on
top. Tests that need something written (notes, evenness, ...) cannot be told of an improvisation.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from dataclasses import replace as replaced

from msgspec.structs import replace

from coldtake.domain.criterion import ChangesTest, CriterionTest, PlayerTest, TempoTest
from coldtake.domain.take import (
    Answer,
    ChordHeard,
    ClickHeard,
    Figure,
    NoteEvidence,
    NoteStatus,
    Verdict,
)
from coldtake.listening.engine import ENGINE
from coldtake.listening.features.audio_features import ProgressCallback, hear
from coldtake.listening.features.signal_quality import (
    Abstention,
    obstacle_in_hearing,
    obstacle_in_sound,
)
from coldtake.listening.improvised.figures import OF_KEYS, OF_SOUND, Errors, figures_of
from coldtake.listening.improvised.harmony import ChordTimeline, ground_of
from coldtake.listening.improvised.measuring import Measured, OverChord, measured
from coldtake.listening.improvised.notes import ImprovisedNote, of_keys
from coldtake.listening.improvised.placing import TEMPO_ROOM, BeatMap, by_click, by_notes
from coldtake.listening.improvised.signal_quality import LEAST_NOTES, obstacle_in_line
from coldtake.listening.improvised.transcribing import transcribe
from coldtake.listening.improvised.words import note_words
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.keyboard.midi_performance import MidiPerformance
from coldtake.listening.sources.sound import Sound
from coldtake.listening.verdict.click_effect import ClickEffect, click_effect, ends_before_music
from coldtake.listening.verdict.measures import unmeasured
from coldtake.listening.verdict.verdicts import (
    PLAYER_MAY_ANSWER,
    UNMEASURED,
    answer_of,
    cannot_tell,
    reason_of,
)
from coldtake.music.notation.changes import changes_of
from coldtake.music.passage import Passage

CLICK_TEMPO_ROOM = 0.004  # a click's tempo is known; clocks and the player differ a little
TEMPO_ERROR = 0.01
USUAL_LOWEST, BELOW_WRITTEN = 40, 5
NOTHING_WRITTEN = "an improvisation cannot be compared with written notes"
NO_CHANGES = Abstention(
    "There are no chord symbols in this notation to improvise over.",
    "Add changes to the step, with chord symbols above the bars.",
)
NO_TEMPO = Abstention(
    "Without a click or a tempo the bars are not known.",
    "Enter a tempo for the step, or play with the click.",
)
NO_BEAT = Abstention(
    "No steady beat was found in the notes.",
    "Play with the click, so that the bars are known.",
)


def _test(asked: JudgingRequest) -> ChangesTest:
    test = asked.criterion.changes
    assert test is not None
    return test


def _ground(asked: JudgingRequest) -> ChordTimeline | None:
    """The changes in the passage, laid out for so many choruses."""
    changes, _ = changes_of(asked.passage)
    if changes is None:
        return None
    test, down = _test(asked), asked.passage.transposition
    return ground_of(changes, test.choruses, down, simplest=test.simplest)


def judge_improvised(
    sound: Sound, asked: JudgingRequest, tell: ProgressCallback | None = None
) -> Verdict:
    """Judge a recorded improvisation of one line."""
    ground = _ground(asked)
    obstacle = NO_CHANGES if ground is None else obstacle_in_sound(sound)
    if obstacle is not None or ground is None:
        return cannot_tell(obstacle or NO_CHANGES, asked.criterion, sound.remarks)
    beside = click_effect(sound, asked.click, asked.click_bpm)
    sound = replaced(beside.sound, remarks=(*sound.remarks, *beside.remarks))
    hearing = hear(sound, _lowest(asked.passage), tell=tell)
    obstacle = obstacle_in_hearing(hearing)
    if obstacle is not None:
        return cannot_tell(obstacle, asked.criterion, sound.remarks)
    found = transcribe(hearing)
    obstacle = obstacle_in_line(hearing, found.notes)
    if obstacle is not None:
        return cannot_tell(obstacle, asked.criterion, sound.remarks)
    take = _Take(found.notes, hearing.duration_s, OF_SOUND, sound.remarks, 100.0 * found.tuning)
    return _judged(take, asked, ground, beside)


def _lowest(passage: Passage) -> float:
    """Lowest pitch that may come, by what is written for the instrument."""
    written = min((n.pitch for n in passage.notes), default=USUAL_LOWEST)
    return float(min(written - BELOW_WRITTEN, USUAL_LOWEST))


def judge_improvised_keys(keys: MidiPerformance, asked: JudgingRequest) -> Verdict:
    """Judge an improvisation on a keyboard; several notes at once are fine."""
    ground = _ground(asked)
    if ground is None:
        return cannot_tell(NO_CHANGES, asked.criterion)
    notes = of_keys(keys.presses)
    if len(notes) < LEAST_NOTES:
        few = Abstention(f"Only {len(notes)} keys were pressed.", "Record the take again.")
        return cannot_tell(few, asked.criterion)
    return _judged(_Take(notes, keys.duration_s, OF_KEYS), asked, ground, None)


@dataclass(frozen=True, slots=True)
class _Take:
    """What was heard: notes by onset, length [s]; errors : how exactly; tuning in cents."""

    notes: tuple[ImprovisedNote, ...]
    duration_s: float
    errors: Errors
    remarks: tuple[str, ...] = ()
    tuning_cents: float | None = None


def _judged(
    take: _Take, asked: JudgingRequest, ground: ChordTimeline, beside: ClickEffect | None
) -> Verdict:
    placing = _placed(take, asked, ground, beside)
    if isinstance(placing, Abstention):
        return cannot_tell(placing, asked.criterion, take.remarks)
    error = placing.error_s * placing.bpm / 60.0
    ways = [
        measured(placing.notes(take.notes, first + shift), ground)
        for shift in (0.0, error, -error)
        for first in placing.first_beats
    ]
    until = float(placing.beat_at(take.duration_s)) + placing.first_beats[0]
    test = _as_it_sounds(_test(asked), asked.passage.transposition)
    figures = (
        *figures_of(test, ways, ground, take.errors, until),
        *(figure for test in asked.criterion.heard for figure in _other(test, placing)),
    )
    told = None if beside is None else beside.told
    return _verdict(take, figures, placing, ways[0], told)


def _placed(
    take: _Take, asked: JudgingRequest, ground: ChordTimeline, beside: ClickEffect | None
) -> BeatMap | Abstention:
    track = asked.click or (None if beside is None else beside.track)
    heard = None if beside is None else beside.heard
    counted_in = track is not None and ends_before_music(track)
    if track is not None and not track.is_guess and not counted_in:
        return by_click(track, heard, take.notes, ground.length_beats)
    known = asked.click_bpm if track is None else track.bpm
    tempo = known or asked.tempo_bpm or asked.passage.written_bpm
    if tempo is None:
        return NO_TEMPO
    room = CLICK_TEMPO_ROOM if known and not counted_in else TEMPO_ROOM
    music_s = track.music_s if track is not None and counted_in else None
    return by_notes(take.notes, ground, tempo, room, music_s) or NO_BEAT


def _as_it_sounds(test: ChangesTest, transposition: int) -> ChangesTest:
    """The test with its range at sounding pitch."""
    low, high = (None if p is None else min(max(p + transposition, 0), 127)
                 for p in (test.lowest, test.highest))  # fmt: skip
    return replace(test, lowest=low, highest=high)


def _other(test: CriterionTest, placing: BeatMap) -> tuple[Figure, ...]:
    """Another test than the changes: of an improvisation only the tempo can be told."""
    if isinstance(test, TempoTest):
        return (_tempo(test, placing),)
    if isinstance(test, ChangesTest | PlayerTest):
        return ()  # the changes have their own figures, the others are the player's
    return (unmeasured(test, NOTHING_WRITTEN),)


def _tempo(test: TempoTest, placing: BeatMap) -> Figure:
    """The tempo of the beat that the notes were placed on."""
    value = placing.bpm / test.beat_unit_beats
    error = TEMPO_ERROR * value
    if test.within_percent is None:
        off, passed = value - test.mark, value >= test.mark
    else:
        off = test.mark * test.within_percent / 100.0 - abs(value - test.mark)
        passed = off >= 0
    return Figure(
        name="tempo", value=value, uncertainty=error, threshold=test.mark,
        unit="beats per minute", passed=None if 0 < abs(off) <= error else passed,
        words=f"{value:.1f} {placing.by}",
    )  # fmt: skip


def _verdict(
    take: _Take, figures: tuple[Figure, ...], placing: BeatMap, way: Measured,
    click: ClickHeard | None,
) -> Verdict:  # fmt: skip
    answer = answer_of(figures)
    bars = f"Bars {placing.by}."
    if len(placing.first_beats) > 1:
        bars = "The start of the form is not sure. The numbers allow for that."
    return Verdict(
        answer=answer,
        reason=" ".join([reason_of(answer, figures), bars, *take.remarks]),
        remedy="" if answer is not Answer.CANNOT_TELL else _remedy(placing, figures),
        tempo_bpm=placing.bpm,
        tests=figures,
        notes=_notes(take.notes, way, placing),
        engine=ENGINE,
        tuning_cents=take.tuning_cents,
        click=click,
        chords=tuple(_chord(c, placing) for c in way.chords),
    )


def _remedy(placing: BeatMap, figures: Sequence[Figure]) -> str:
    if any(not f.measured for f in figures):
        return UNMEASURED
    if len(placing.first_beats) > 1:
        return f"Play with the click, so that the bars are known. {PLAYER_MAY_ANSWER}"
    return f"Record it again. {PLAYER_MAY_ANSWER}"


def _notes(
    heard: Sequence[ImprovisedNote], way: Measured, placing: BeatMap
) -> tuple[NoteEvidence, ...]:
    on = placing.notes(heard, placing.first_beats[0])
    return tuple(
        NoteEvidence(
            id=f"played-{k + 1}", status=NoteStatus.PLAYED, expected_beat=beats.onset,
            onset_s=note.onset_s, offset_s=note.offset_s, pitch=float(note.pitch),
            confidence=0.9 if note.sure else 0.4, words=note_words(beats, way.chords),
        )
        for k, (note, beats) in enumerate(zip(heard, on, strict=True))
    )  # fmt: skip


def _chord(over: OverChord, placing: BeatMap) -> ChordHeard:
    place, share = over.place, over.inside
    return ChordHeard(
        chorus=place.chorus, bar_index=place.bar_index, symbol=place.symbol,
        onset_beats=place.in_form_beats, beats=place.beats,
        from_s=placing.time_at(place.onset_beats), to_s=placing.time_at(place.end_beats),
        notes=over.notes, sounded=over.sounded / place.beats,
        in_scale=share.hits / share.count if share.count > 0 else None,
        scale=over.scale.name if over.scale else "",
        on_strong=round(over.strong.count), chord_tones=round(over.strong.hits),
        arrived=over.arrived,
    )  # fmt: skip
