"""A recording of chords or two hands judged: the same tests and evidence as one line.

Twice the network listens: blindly, to lay the page along the recording; then told the page, to say
of every written note whether it was played. Whether it is this passage at all is decided by what
was heard blindly, because a listener who is told what to expect finds it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from coldtake.domain.criterion import Criterion
from coldtake.domain.take import Verdict
from coldtake.listening.chords.deciding import NoteDecisions, decide, doubtful_in
from coldtake.listening.chords.note_network import NoteActivations, begun_in, listen, no_page
from coldtake.listening.chords.placing import ChordOccurrence, moved, page_of, visits_along
from coldtake.listening.chords.spectrum import Singles, prepared, spectrum, tuning_of
from coldtake.listening.features.audio_features import ProgressCallback
from coldtake.listening.features.signal_quality import Abstention
from coldtake.listening.keyboard.midi_alignment import PlayedGroup, events_of
from coldtake.listening.keyboard.midi_evidence import evidence_of
from coldtake.listening.keyboard.midi_judge import another_in_keys
from coldtake.listening.sources.sound import Sound
from coldtake.listening.verdict.click_effect import AT_CLICK_S, SHORT_S, ClickEffect
from coldtake.listening.verdict.ornaments import with_ornaments
from coldtake.listening.verdict.verdicts import cannot_tell, decided
from coldtake.music.passage import Passage

ONSET_ERROR_S = 0.015  # half width (95 %) of a chord's time, measured on the tuning bank
BLIND_LEAST = 0.35  # onset evidence from which a key counts as begun, without the page
BLIND_SHARE = 0.5  # of the written notes in the stretch played that must be heard blindly
OFF_PITCH_CENTS = 12.0  # from here the spectrum is taken anew at the take's own tuning
FEW_TONES = 3


def judge_chords(
    sound: Sound, passage: Passage, criterion: Criterion, beside: ClickEffect,
    tell: ProgressCallback | None = None,
) -> Verdict:  # fmt: skip
    """Judge a recording of a passage with several notes at once; its click was taken out."""
    events = events_of(passage)
    told, blind = told_of(sound, passage, events, tell)
    if blind.tones < FEW_TONES:
        return cannot_tell(_no_tone(), criterion, sound.remarks)
    matched = _without_clicks(told, beside)
    evidence = evidence_of(
        matched.matched, passage, onset_error_s=ONSET_ERROR_S, timed_by=beside.timed_by,
        grid=beside.grid(passage), unsure=told.unsure, tuning_cents=blind.tuning_cents,
    )  # fmt: skip
    evidence = with_ornaments(evidence, passage)
    obstacle = _not_heard_blindly(blind, events) or another_in_keys(matched.matched, passage)
    if obstacle is not None:
        return cannot_tell(obstacle, criterion, sound.remarks, evidence)
    return decided(
        criterion, evidence, sound.remarks, bars=passage.bars, tuning_cents=blind.tuning_cents
    )


@dataclass(frozen=True)
class ScoreFreeResult:
    """What was heard without the page: tones, where the page was laid along them, tuning."""

    tones: int
    visits: tuple[ChordOccurrence, ...]
    tuning_cents: float


def told_of(
    sound: Sound,
    passage: Passage,
    events: tuple[PlayedGroup, ...],
    tell: ProgressCallback | None = None,
) -> tuple[NoteDecisions, ScoreFreeResult]:
    """Listen twice; what became of every note, and what was heard blindly."""
    view, tuning = _tuned(sound)
    first = listen(view, no_page(view.shape[1]), _part(tell, 0.1, 0.5))
    begun = begun_in(first.onset, BLIND_LEAST)
    visits = visits_along(begun, events)
    second = _listened_again(view, visits, events, passage, _part(tell, 0.5, 0.95))
    doubtful = doubtful_in(second, visits, events)
    again = moved(visits, doubtful, begun_in(second.onset, BLIND_LEAST), events)
    if again != visits:
        visits = again
        second = _listened_again(view, visits, events, passage, _part(tell, 0.95, 1.0))
    return decide(second, visits, events, passage), ScoreFreeResult(
        len(begun), tuple(visits), tuning
    )


def _listened_again(
    view: Singles, visits: Sequence[ChordOccurrence], events: tuple[PlayedGroup, ...],
    passage: Passage, tell: ProgressCallback | None,
) -> NoteActivations:  # fmt: skip
    return listen(view, page_of(visits, events, passage, view.shape[1]), tell)


def _tuned(sound: Sound) -> tuple[Singles, float]:
    samples = prepared(sound)
    view = spectrum(samples)
    tuning = tuning_of(view[0])
    return (spectrum(samples, tuning) if abs(tuning) > OFF_PITCH_CENTS else view), tuning


def _part(tell: ProgressCallback | None, low: float, high: float) -> ProgressCallback | None:
    if tell is None:
        return None
    return lambda share: tell(low + (high - low) * share)


def _without_clicks(told: NoteDecisions, beside: ClickEffect) -> NoteDecisions:
    """Without short extras that begin with a click: they may be what is left of it."""
    heard = beside.heard
    if heard is None:
        return told
    told.matched.extras = [
        (e, p)
        for e, p in told.matched.extras
        if p.offset_s - p.onset_s > SHORT_S or heard.nearest_s(p.onset_s) > AT_CLICK_S
    ]
    return told


def _not_heard_blindly(blind: ScoreFreeResult, events: Sequence[PlayedGroup]) -> Abstention | None:
    right = sum(len(v.right) for v in blind.visits)
    written = sum(len(events[v.event].pitches) for v in blind.visits)
    if right >= BLIND_SHARE * written:
        return None
    return Abstention(
        f"This seems to be another passage: {right} of {written} notes were heard clearly.",
        "Check that the step has the passage that you played, or move the microphone closer.",
    )


def _no_tone() -> Abstention:
    return Abstention(
        "No clear tone can be heard in the recording, only noise.",
        "Move the microphone closer to the instrument and away from other sounds.",
    )
