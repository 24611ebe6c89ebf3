"""A keyboard's take judged: exact keys and times through the same tests as a recording.

What MIDI does not carry is not told: in tune or not, and how loud in decibels.
"""

from coldtake.domain.take import Verdict
from coldtake.listening.features.signal_quality import Abstention
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.keyboard.midi_alignment import Matched, match_keys
from coldtake.listening.keyboard.midi_evidence import evidence_of
from coldtake.listening.keyboard.midi_performance import MidiPerformance
from coldtake.listening.verdict.ornaments import with_ornaments
from coldtake.listening.verdict.verdicts import (
    cannot_tell,
    decided,
    obstacle_in_notes,
    seems_another,
)
from coldtake.music.passage import Passage

ONSET_ERROR_S = 0.002  # a message takes 1 ms on a MIDI cable (31 250 baud), and the browser's clock
NO_CLICK = ", compared with your own tempo: a MIDI keyboard does not record the click"


def judge_keys(keys: MidiPerformance, asked: JudgingRequest) -> Verdict:
    """Judge a keyboard's take. Several notes at once and two hands are fine."""
    passage, criterion = asked.passage, asked.criterion
    obstacle = obstacle_in_notes(passage)
    if obstacle is not None:
        return cannot_tell(obstacle, criterion)
    matched = match_keys(keys.presses, passage)
    clicked = asked.click is not None or asked.click_bpm is not None
    evidence = evidence_of(
        matched, passage, onset_error_s=ONSET_ERROR_S, timed_by=NO_CLICK if clicked else ""
    )
    evidence = with_ornaments(evidence, passage)
    obstacle = another_in_keys(matched, passage)
    if obstacle is not None:
        return cannot_tell(obstacle, criterion)
    return decided(criterion, evidence, bars=passage.bars, tuning_cents=None)


def another_in_keys(matched: Matched, passage: Passage) -> Abstention | None:
    """What stands in the way where too little of the passage was played."""
    right = set(matched.played) - matched.wrong
    stretch = 0
    if matched.played:
        first, last = min(matched.played), max(matched.played)
        stretch = last - first + 1
    return seems_another(len(right), len(passage.notes), len(matched.extras), stretch)
