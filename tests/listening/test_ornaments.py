"""Ornaments are heard as custom allows; what is wrong beside them is still found.

C. P. E. Bach (Versuch über die wahre Art das Clavier zu spielen, Berlin 1753) begins a trill on the
upper note, later practice on the main note; Quantz (Versuch einer Anweisung die Flöte traversiere
zu spielen, Berlin 1752) gives an appoggiatura half of its note, others the shortest time. Each is
right (the treatises from memory).
"""

import pytest
from band import Played
from takes import HAVE_BANK, WHY_NOT, sounded

from coldtake.domain.criterion import default_criterion
from coldtake.domain.take import Answer, NoteStatus
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.melody.judge import judge
from coldtake.music.notation.reading.reader import read_passage

pytestmark = pytest.mark.skipif(not HAVE_BANK, reason=WHY_NOT)
BPM = 80
BEFORE, AFTER = [(60, 1), (62, 1), (64, 1), (65, 1)], [(65, 1), (64, 1), (62, 1), (60, 1)]
TRILL, LONG = "CDEF|TG4|FEDC|]", [(67, 4)]
FROM_MAIN = [(67, 0.25), (69, 0.25)] * 8
FROM_ABOVE = [(69, 0.125), (67, 0.125)] * 16
AGAIN = [(69, 2)]


def heard(abc, notes, instrument):
    passage = read_passage(f"X:1\nM:4/4\nL:1/4\nQ:1/4={BPM}\nK:C\n{abc}\n", "abc")
    at, line = 0.5, []
    for pitch, beats in notes:
        long_s = beats * 60.0 / BPM
        line.append(Played(at, at + 0.95 * long_s, pitch, 90))
        at += long_s
    return judge(sounded(instrument, line), JudgingRequest(passage, default_criterion()))


@pytest.mark.parametrize("voice", ["violin", "flute", "piano"])
@pytest.mark.parametrize(
    ("abc", "ornament"),
    [
        (TRILL, FROM_MAIN),
        (TRILL, FROM_ABOVE),
        (TRILL, LONG),  # left out, as older practice leaves to the player
        ("CDEF|MG2A2|FEDC|]", [(67, 0.125), (65, 0.125), (67, 1.75), *AGAIN]),
        ("CDEF|PG2A2|FEDC|]", [(67, 0.125), (69, 0.125), (67, 1.75), *AGAIN]),
        (
            "CDEF|!turn!G2A2|FEDC|]",
            [(67, 1), (69, 0.25), (67, 0.25), (65, 0.25), (67, 0.25), *AGAIN],
        ),
        ("CDEF|{A}G2A2|FEDC|]", [(69, 0.12), (67, 1.88), *AGAIN]),
        ("CDEF|{A}G2A2|FEDC|]", [(69, 1), (67, 1), *AGAIN]),
    ],
)
def test_what_custom_allows_is_right(abc, ornament, voice):
    verdict = heard(abc, [*BEFORE, *ornament, *AFTER], voice)
    assert verdict.answer is Answer.YES, verdict.reason


@pytest.mark.parametrize("voice", ["violin", "flute", "piano"])
def test_a_wrong_note_in_the_ornament_s_place_is_found(voice):
    verdict = heard(TRILL, [*BEFORE, (71, 4), *AFTER], voice)
    [fault] = [n for n in verdict.notes if n.status is not NoteStatus.RIGHT]
    assert (verdict.answer, fault.expected_pitch) == (Answer.NO, 67)


@pytest.mark.parametrize("voice", ["violin", "flute", "piano", "cello"])
def test_a_wrong_note_after_the_ornament_is_not_taken_for_a_part_of_it(voice):
    verdict = heard(TRILL, [*BEFORE, *FROM_MAIN, (66, 1), *AFTER[1:]], voice)
    assert verdict.answer is not Answer.YES


def test_without_the_sign_the_same_turns_are_extra():
    verdict = heard("CDEF|G4|FEDC|]", [*BEFORE, *FROM_MAIN, *AFTER], "flute")
    assert verdict.answer is not Answer.YES
