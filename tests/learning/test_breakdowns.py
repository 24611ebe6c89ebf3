"""Where a passage breaks: planted weaknesses are found, and nothing where none is.

The model is checked against the worked example of its source: the experiment of rat tumours of
Gelman and others, "Bayesian Data Analysis", 3rd edition, section 5.3, 2013, Boca Raton; data and
results from memory (4 of 14 in the last experiment; its posterior mean about 0.21 to 0.22).
"""

from collections import Counter

import numpy as np
import pytest

from coldtake.domain.take import (
    Answer,
    NoteEvidence,
    NoteStatus,
    Restart,
    Stumble,
    StumbleKind,
    Verdict,
)
from coldtake.learning import breakdowns
from coldtake.learning.breakdowns import BarOfTake, Fault, bars_of_take, weak_bars
from coldtake.music.notation.reading.reader import read_passage

FOUR = read_passage("X:1\nT:Four\nM:4/4\nL:1/4\nQ:1/4=60\nK:C\nCDEF|GABc|BAGF|EDC2|]\n", "abc")


def simulated(seed, chances, takes):
    rng = np.random.default_rng(seed)
    broken = Counter({Fault.WRONG: 1})
    return [
        {
            i: BarOfTake(broken if rng.random() < p else Counter(), cold=False)
            for i, p in enumerate(chances)
        }
        for _ in range(takes)
    ]


def test_a_planted_weakness_is_found_and_nothing_else():
    found = others = 0
    for seed in range(40):
        chances = np.full(12, 0.04)
        chances[3] = 0.6
        weak = {bar.index for bar in weak_bars(simulated(seed, chances, 10))}
        found += 3 in weak
        others += bool(weak - {3})
    assert found >= 34
    assert others <= 2


def test_where_nothing_is_planted_nothing_is_found():
    alarms = sum(bool(weak_bars(simulated(s, np.full(12, 0.05), 10))) for s in range(100, 150))
    assert alarms <= 2


def test_two_slips_in_three_takes_are_no_habit():
    bad, good = Counter({Fault.WRONG: 1}), Counter()
    takes = [
        {0: BarOfTake(f, cold=False), 1: BarOfTake(good, cold=False)} for f in (bad, bad, good)
    ]
    assert weak_bars(takes) == ()
    assert weak_bars([]) == ()


def test_a_bar_is_drawn_towards_the_others_as_in_the_published_example():
    rats = [(0, 20)] * 13 + [(0, 19)] * 2 + [(0, 17)] * 1 + [(1, 20)] * 5 + [(1, 19)] * 3
    rats += [
        (2, 25),
        (2, 24),
        (2, 20),
        (2, 20),
        (2, 20),
        (2, 20),
        (2, 20),
        (2, 20),
        (1, 10),
        (5, 49),
    ]
    rats += [
        (2, 19),
        (5, 46),
        (3, 27),
        (2, 17),
        (7, 49),
        (7, 47),
        (3, 20),
        (3, 20),
        (2, 13),
        (9, 48),
    ]
    rats += [(10, 50), (4, 20), (4, 20), (4, 20), (4, 20), (4, 20), (4, 20), (4, 20), (10, 48)]
    rats += [(4, 19), (4, 19), (4, 19), (5, 22), (11, 46), (12, 49), (5, 20), (5, 20), (6, 23)]
    rats += [(5, 19), (6, 22), (6, 20), (6, 20), (6, 20), (16, 52), (15, 47), (15, 46), (9, 24)]
    rats += [(4, 14)]
    broke, of = zip(*rats, strict=True)
    chance, _ = breakdowns._posterior(broke, of)
    assert chance[-1] == pytest.approx(0.215, abs=0.02)  # 4 of 14 alone would be 0.286
    assert chance[0] == pytest.approx(0.06, abs=0.02)  # 0 of 20


def verdict(*faults, heard=16, restarts=(), stumbles=()):
    """All notes right but those named by number, which are (number, status)."""
    named = dict(faults)
    notes = []
    for i, note in enumerate(FOUR.notes):
        status = named.get(i, NoteStatus.RIGHT) if i < heard else NoteStatus.MISSED
        at = None if status is NoteStatus.MISSED else note.onset_beats
        beat = note.onset_beats
        notes.append(NoteEvidence(id=note.id, status=status, onset_s=at, expected_beat=beat))
    return Verdict(
        answer=Answer.NO,
        reason="",
        tempo_bpm=60.0,
        tests=(),
        notes=tuple(notes),
        engine="line-1",
        restarts=restarts,
        stumbles=stumbles,
    )


def read(told):
    return {i: dict(b.faults) for i, b in bars_of_take(told, FOUR, cold=True).items()}


def test_faults_lie_in_their_bars():
    told = verdict((5, NoteStatus.WRONG), (6, NoteStatus.WRONG), (9, NoteStatus.MISSED))
    assert read(told) == {0: {}, 1: {Fault.WRONG: 2}, 2: {Fault.MISSED: 1}, 3: {}}


def test_what_comes_after_the_stop_was_not_played_and_the_stop_counts():
    assert read(verdict(heard=6)) == {0: {}, 1: {Fault.MISSED: 3}}
    assert read(verdict(heard=8)) == {0: {}, 1: {Fault.MISSED: 1}}
    assert read(verdict(heard=0)) == {}


def test_a_restart_counts_where_it_broke_not_where_it_began_again():
    told = verdict(restarts=(Restart(at_s=9.5, to_beat=4.0),))
    assert read(told)[2] == {Fault.RESTART: 1}
    assert read(told)[1] == {}


def test_how_far_play_had_come_counts_where_the_verdict_says_it():
    told = verdict(restarts=(Restart(at_s=9.5, to_beat=0.0, from_beat=5.0),))
    assert read(told)[1] == {Fault.RESTART: 1}


@pytest.mark.parametrize(
    ("kind", "sure", "faults"),
    [
        (StumbleKind.HESITATION, 0.9, {Fault.STOP: 1}),
        (StumbleKind.REPEATED, 0.9, {Fault.RESTART: 1}),
        (StumbleKind.HESITATION, 0.3, {}),
        (StumbleKind.UNEVEN, 0.9, {}),
        (StumbleKind.RESTART, 0.9, {}),
    ],
)
def test_a_stop_counts_in_the_bar_of_the_note_that_came_late(kind, sure, faults):
    late = FOUR.notes[8]
    one = Stumble(kind=kind, note_id=late.id, at_s=9.0, beat=late.onset_beats, confidence=sure)
    assert read(verdict(stumbles=(one,)))[2] == faults
