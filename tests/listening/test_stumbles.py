"""Where a take stopped, went back or was uneven is told whatever the criterion asks.

Definitions and limits are ours (no source); times are those that were put in.
"""

from dataclasses import replace

import pytest
from passages import passage_of

from coldtake.domain.criterion import Criterion, NotesTest
from coldtake.domain.take import Answer, StumbleKind
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.keyboard.midi_judge import judge_keys
from coldtake.listening.keyboard.midi_performance import MidiNote, MidiPerformance
from coldtake.listening.verdict.impression import impression
from coldtake.listening.verdict.section_pauses import section_starts
from coldtake.music.passage import Bar

BPM = 90.0
BEAT = 60.0 / BPM
# Invented: eight bars of quarters and eighths, no bar like another.
ROWS = tuple(
    (pitch, length)
    for k in range(8)
    for pitch, length in ((60 + k, 1.0), (67 - k, 0.5), (65 + k, 0.5), (72 - k, 1.0), (64 + k, 1.0))
)
NOTES = Criterion(tests=(NotesTest(),))


@pytest.fixture(scope="module")
def passage():
    return passage_of(ROWS, bpm=BPM, title="eight bars")


def pressed(passage) -> list[MidiNote]:
    """Played right, a little uneven: 6 ms either way, by rule."""
    return [
        MidiNote(
            start := 0.5 + n.onset_beats * BEAT + 0.006 * (-1) ** (k % 3),
            start + 0.8 * n.duration_beats * BEAT,
            n.pitch,
            80,
        )
        for k, n in enumerate(passage.notes)
    ]


def moved(note: MidiNote, by_s: float) -> MidiNote:
    return replace(note, onset_s=note.onset_s + by_s, offset_s=note.offset_s + by_s)


def judged(notes, passage):
    presses = tuple(sorted(notes, key=lambda p: p.onset_s))
    return judge_keys(
        MidiPerformance(presses, presses[-1].offset_s + 1.0), JudgingRequest(passage, NOTES)
    )


def in_one_line(verdict, passage):
    bars = {n.id: n.bar for n in passage.notes}
    return impression(verdict, bars.__getitem__)


def test_an_even_take_has_none(passage):
    verdict = judged(pressed(passage), passage)
    assert verdict.answer is Answer.YES
    assert verdict.stumbles == ()
    assert in_one_line(verdict, passage) == "Steady."


def test_a_hesitation_has_its_place_and_length(passage):
    notes = pressed(passage)
    at = 17  # the third note of bar 4
    late = [*notes[:at], *(moved(n, 1.5 * BEAT) for n in notes[at:])]
    verdict = judged(late, passage)
    assert verdict.answer is Answer.YES, "nobody asked for no stops"
    (stumble,) = verdict.stumbles
    assert stumble.kind is StumbleKind.HESITATION
    assert stumble.note_id == passage.notes[at].id
    assert stumble.length_beats == pytest.approx(1.5, abs=0.1)
    assert stumble.at_s == pytest.approx(notes[at].onset_s, abs=0.06)
    assert stumble.confidence > 0.9
    assert in_one_line(verdict, passage) == "Steady but for bar 4."


@pytest.mark.parametrize(
    ("back_to", "stopped_after", "kind"),
    [(10, 23, StumbleKind.RESTART), (21, 22, StumbleKind.REPEATED)],
)
def test_going_back_is_a_restart_or_a_repeated_beat(passage, back_to, stopped_after, kind):
    notes = pressed(passage)
    again = notes[stopped_after].offset_s + 0.5 - notes[back_to].onset_s
    played = [*notes[: stopped_after + 1], *(moved(n, again) for n in notes[back_to:])]
    verdict = judged(played, passage)
    found = [s for s in verdict.stumbles if s.kind is not StumbleKind.HESITATION]
    assert [(s.kind, s.note_id) for s in found] == [(kind, passage.notes[back_to].id)]
    length = passage.notes[stopped_after].end_beats - passage.notes[back_to].onset_beats
    assert found[0].length_beats == pytest.approx(length)


def test_a_breath_between_two_sections_is_no_stop(passage):
    """Bars 1 to 4 twice, then 5 to 8: a pause where they begin again, or after them."""
    half = passage.notes[:20]
    bars = [*passage.bars[:4], *passage.bars]
    both = replace(
        passage,
        notes=(
            *half,
            *(
                replace(
                    n, id=f"{n.id}~2", onset_beats=n.onset_beats + 16.0, bar_index=n.bar_index + 4
                )
                for n in passage.notes
            ),
        ),
        bars=tuple(replace(b, index=k, onset_beats=4.0 * k) for k, b in enumerate(bars)),
    )
    for at, stops in ((20, 0), (40, 0), (24, 1)):
        notes = pressed(both)
        paused = [*notes[:at], *(moved(n, 2.0 * BEAT) for n in notes[at:])]
        assert len(judged(paused, both).stumbles) == stops, at


def test_sections_begin_after_a_second_ending_too():
    labels = ["1", "2", "1", "X1", "3", "4"]
    bars = [Bar(k, label, 4.0 * k, 4.0, (4, 4)) for k, label in enumerate(labels)]
    assert [b.label for b in section_starts(bars)] == ["1", "X1", "3"]


def test_an_uneven_bar_is_named_and_one_late_note_makes_none(passage):
    notes = pressed(passage)
    off = {20: 0.09, 21: -0.08, 22: 0.08, 23: -0.09, 24: 0.07}
    verdict = judged([moved(n, off.get(k, 0.0)) for k, n in enumerate(notes)], passage)
    assert [(s.kind, s.note_id) for s in verdict.stumbles] == [
        (StumbleKind.UNEVEN, passage.notes[20].id)
    ]
    assert verdict.stumbles[0].scatter_ms == pytest.approx(80.0, abs=30.0)
    single = judged([moved(n, 0.12 if k == 22 else 0.0) for k, n in enumerate(notes)], passage)
    assert single.stumbles == ()


def test_an_uneven_take_is_said_to_be_uneven(passage):
    notes = pressed(passage)
    off = [0.11 * (-1) ** (k // 2) * (1 + k % 2) / 1.5 for k in range(len(notes))]
    verdict = judged([moved(n, by) for n, by in zip(notes, off, strict=True)], passage)
    assert in_one_line(verdict, passage).startswith("Uneven: half of the notes are ")
