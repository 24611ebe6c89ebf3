"""Note scoring with mir_eval's own numbers, and our evidence against the notes that were played.

C. Raffel et al., "mir_eval: a transparent implementation of common MIR metrics", ISMIR 2014,
Taipei.
Tolerances are its defaults: onset 50 ms, pitch 50 cents.
"""

import mir_eval
import numpy as np
import pytest
from band import INSTRUMENTS, rise_of
from takes import BANK, HAVE_BANK, WHY_NOT, keys, sounded, tune

from coldtake.domain.criterion import default_criterion
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.melody.judge import judge
from coldtake.units import pitch_to_hz

pytestmark = [pytest.mark.audio, pytest.mark.skipif(not HAVE_BANK, reason=WHY_NOT)]


def spans(onsets):
    return np.column_stack([onsets, np.asarray(onsets) + 0.1])


@pytest.mark.parametrize(
    ("instrument", "least"),
    # The bank's violin rises so slowly over the last note's ringing that, a semitone apart, one
    # onset of this take is heard 73 ms late.
    [("clarinet", 1.0), ("piano", 1.0), ("trumpet", 1.0), ("flute", 1.0), ("violin", 0.92)],
)
def test_every_note_is_found_where_it_was_played(instrument, least):
    played = keys(tune())
    program = INSTRUMENTS[instrument].program
    onsets = np.array(
        [n.start_s + rise_of(BANK, program, n.key, n.velocity).onset_s for n in played]
    )
    verdict = judge(sounded(instrument, played), JudgingRequest(tune(), default_criterion()))
    heard = [n for n in verdict.notes if n.onset_s is not None and n.pitch is not None]
    scores = mir_eval.transcription.precision_recall_f1_overlap(
        spans(onsets),
        np.array([pitch_to_hz(n.key) for n in played]),
        spans([n.onset_s for n in heard]),
        np.array([pitch_to_hz(n.pitch) for n in heard]),
        offset_ratio=None,
    )
    assert scores[2] >= least


def test_onsets_of_struck_notes_are_known_to_a_few_milliseconds():
    played = keys(tune())
    onsets = [n.start_s + rise_of(BANK, 0, n.key, n.velocity).onset_s for n in played]
    verdict = judge(sounded("piano", played), JudgingRequest(tune(), default_criterion()))
    off = [n.onset_s - o for n, o in zip(verdict.notes, onsets, strict=True)]
    assert np.median(np.abs(off)) < 0.004
    assert max(np.abs(off)) < 0.012
