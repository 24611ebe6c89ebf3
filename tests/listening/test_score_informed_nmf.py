"""Each pitch's own share of the sound, and the second look at notes the path left out."""

import numpy as np
import pytest
from band import INSTRUMENTS, Played, rise_of
from passages import passage_of
from takes import BANK, HAVE_BANK, WHY_NOT, sounded

from coldtake.domain.criterion import Criterion, NotesTest
from coldtake.domain.take import Answer, NoteStatus
from coldtake.listening.features.audio_features import RATE
from coldtake.listening.features.onsets import attack_in
from coldtake.listening.features.score_informed_nmf import STEP_S, Stretch, learn
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.melody.judge import judge

CRITERION = Criterion(tests=(NotesTest(),))
rendered = pytest.mark.skipif(not HAVE_BANK, reason=WHY_NOT)
LINE = (48, 50, 52, 53, 52, 50, 49, 48, 50, 53, 52, 48)
STEP = 0.55


def tone(pitch: float, start_s: float, stop_s: float, length_s: float) -> np.ndarray:
    time = np.arange(round(length_s * RATE)) / RATE
    hz = 440.0 * 2 ** ((pitch - 69) / 12)
    shape = np.clip(np.minimum((time - start_s) / 0.1, (stop_s - time) / 0.3), 0.0, 1.0)
    return shape * sum(np.sin(2 * np.pi * k * hz * time) / k for k in range(1, 7))


def test_the_share_of_a_new_tone_is_seen_under_the_end_of_the_old_one():
    first, second = tone(60, 0.1, 1.3, 2.5), tone(61, 1.0, 2.3, 2.5)
    samples = (0.1 * (first + second)).astype(np.float32)
    own = learn(samples, [Stretch(60, 0.2, 0.9), Stretch(61, 1.4, 2.0)], {60, 61})
    assert own is not None
    share = own.envelope(samples, 61, 0.6, 2.0)
    at = lambda s: share[round((s - 0.6) / STEP_S)]  # noqa: E731
    assert at(0.9) < 0.05 * at(1.6)  # the old tone alone
    assert at(1.05) == pytest.approx(0.5 * at(1.6), rel=0.25)  # half of its linear rise
    # Its 10 % and 50 % lie at 1.01 and 1.05 s by the formula above.
    found = attack_in(share[round(0.3 / STEP_S) : round(0.7 / STEP_S)], STEP_S, 0.9)
    # Half of that rise and 5 ms, as asked of slow instruments.
    assert found.onset_s == pytest.approx(1.03, abs=0.025)


def bowed(leave_out: int | None = None) -> list[Played]:
    return [
        Played(0.5 + k * STEP, 0.5 + (k + 0.98) * STEP, p, 80)
        for k, p in enumerate(LINE)
        if k != leave_out
    ]


@rendered
@pytest.mark.audio
@pytest.mark.parametrize("instrument", ["cello", "violin"])
def test_slow_attacks_over_a_ringing_neighbour_are_found_within_their_rise(instrument):
    passage = passage_of([(p + (12 if instrument == "violin" else 0), 1.0) for p in LINE])
    notes = [Played(n.start_s, n.end_s, passage.notes[k].pitch, 80) for k, n in enumerate(bowed())]
    verdict = judge(sounded(instrument, notes), JudgingRequest(passage, CRITERION))
    assert verdict.answer == Answer.YES, verdict.reason
    program = INSTRUMENTS[instrument].program
    off, beyond = [], []
    for heard, played in zip(verdict.notes, notes, strict=True):
        rise = rise_of(BANK, program, played.key, played.velocity)
        assert heard.onset_s is not None
        off.append(abs(heard.onset_s - played.start_s - rise.onset_s))
        beyond.append(off[-1] - 0.5 * rise.rise_s)
    assert np.median(beyond) < 0.005  # the definition leaves half of the rise either way
    # mir_eval's tolerance is 50 ms; one note of the cello, whose rise is slow, lies at 47.6 ms here
    # and lay at 52.3 in another process: the last bits of the spectra decide.
    assert sum(o >= 0.05 for o in off) <= 1
    assert max(off) < 0.06


@rendered
@pytest.mark.audio
@pytest.mark.parametrize("left_out", [3, 6])
def test_what_was_left_out_on_a_slow_instrument_is_never_called_heard(left_out):
    passage = passage_of([(p, 1.0) for p in LINE])
    verdict = judge(sounded("cello", bowed(left_out)), JudgingRequest(passage, CRITERION))
    assert verdict.answer != Answer.YES
    faults = [n.id for n in verdict.notes if n.status != NoteStatus.RIGHT]
    assert set(faults) | set(verdict.abstained) == {f"n{left_out}"}
