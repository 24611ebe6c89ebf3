"""The page's click in a recording: found, timed, no notes of its own, a grid where it is heard."""

import re
from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np
import pytest
import soxr
from click_study import clicks
from takes import BPM, HAVE_BANK, RATE, WHY_NOT, keys, sounded, tune

from coldtake.domain.criterion import Criterion, NotesTest, TimingTest
from coldtake.domain.take import Answer, ClickTrack, NoteStatus, Verdict
from coldtake.listening.features import click_track
from coldtake.listening.features.click_track import find_clicks, without_clicks
from coldtake.listening.features.signal_quality import clipped_share, obstacle_in_sound
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.melody.judge import judge
from coldtake.listening.sources.sound import Sound

pytestmark = [
    pytest.mark.audio,
    pytest.mark.skipif(not HAVE_BANK, reason=WHY_NOT),
]
WORKLET = Path(click_track.__file__).parents[2] / "web/static/session/audio/click-worklet.js"
BEAT_S = 60.0 / BPM
DELAY_S = 0.1234
IN_TIME = Criterion(tests=(TimingTest(tolerance_ms=50.0, share_percent=90.0),))


def track(delay_s: float = DELAY_S) -> ClickTrack:
    """Four clicks of count-in and on; the player plays from 0.5 s of the recording."""
    made = 0.5 - delay_s - 4 * BEAT_S
    return ClickTrack(first_s=made, every_s=BEAT_S, music_s=0.5 - delay_s, per_bar=4)


def with_click(sound: Sound, level_db: float = -20.0, step=None) -> Sound:
    laid = clicks(track(), DELAY_S, len(sound.samples), step)
    gain = np.abs(sound.samples).max() * 10 ** (level_db / 20)
    return Sound((sound.samples + gain * laid).astype(np.float32), RATE)


def test_the_known_sound_is_the_one_that_the_page_makes():
    script = WORKLET.read_text(encoding="utf-8")
    made = dict(re.findall(r"const (\w+) = ([\d.]+);", script))
    known = {
        "LENGTH_S": click_track.LENGTH_S,
        "DECAY_S": click_track.DECAY_S,
        "PLAIN_HZ": click_track.PLAIN_HZ,
        "ACCENT_HZ": click_track.ACCENT_HZ,
        "PLAIN_LEVEL": click_track.PLAIN_LEVEL,
    }
    assert {name: float(value) for name, value in made.items()} == known


@pytest.mark.parametrize("instrument", ["clarinet", "piano", "violin"])
def test_clicks_are_found_timed_and_taken_out(instrument):
    plain = sounded(instrument, keys(tune()))
    assert find_clicks(plain, track()) is None
    heard = find_clicks(with_click(plain), track())
    assert heard is not None
    assert heard.steady
    assert heard.delay_start_s == pytest.approx(DELAY_S, abs=0.001)
    assert heard.level_db == pytest.approx(-20.0, abs=2.0)
    clean, mixed = at_rate(plain), at_rate(with_click(plain))
    left = without_clicks(with_click(plain), heard).samples - clean
    assert np.sum(left**2) < 0.01 * np.sum((mixed - clean) ** 2), "less than 20 dB taken out"


def at_rate(sound: Sound) -> np.ndarray:
    return soxr.resample(sound.samples, sound.rate, click_track.RATE, quality="HQ")


def test_a_step_of_the_delay_is_told_and_timing_is_not_told_against_it():
    plain = sounded("flute", keys(tune()))
    stepped = with_click(plain, -10.0, step=(0.5 * plain.duration_s, 0.022))
    heard = find_clicks(stepped, track())
    assert heard is not None
    assert not heard.steady
    assert heard.delay_end_s - heard.delay_start_s == pytest.approx(0.022, abs=0.001)
    verdict = judge(stepped, JudgingRequest(tune(), IN_TIME, click=track()))
    assert "own tempo" in verdict.tests[0].words
    assert verdict.click is not None
    assert not verdict.click.steady
    assert msgspec.json.decode(msgspec.json.encode(verdict), type=Verdict) == verdict


def test_a_player_behind_the_click_is_told_only_where_the_click_is_heard():
    notes = [replace(n, start_s=n.start_s + 0.075, end_s=n.end_s + 0.075) for n in keys(tune())]
    plain = sounded("piano", notes)
    behind = judge(with_click(plain), JudgingRequest(tune(), IN_TIME, click=track()))
    assert behind.answer is Answer.NO
    assert "compared with the click" in behind.tests[0].words
    middle = float(np.median([n.deviation_ms for n in behind.notes]))
    assert middle == pytest.approx(75.0, abs=8.0)
    headphones = judge(plain, JudgingRequest(tune(), IN_TIME, click=track()))
    assert headphones.answer is Answer.YES
    assert "own tempo: the click is not in" in headphones.tests[0].words
    count_in = judge(plain, JudgingRequest(tune(), IN_TIME, click=replace_track(count=4)))
    assert "click" not in count_in.tests[0].words


def replace_track(**fields) -> ClickTrack:
    known = track()
    values = {f: getattr(known, f) for f in known.__struct_fields__}
    return ClickTrack(**(values | fields))


def test_a_click_makes_no_note_and_hides_none():
    notes = keys(tune())
    notes[10] = replace(notes[10], key=notes[10].key + 1)  # falls on a click
    right, wrong = sounded("violin", keys(tune())), sounded("violin", notes)
    faultless = judge(
        with_click(right, -10.0),
        JudgingRequest(tune(), Criterion(tests=(NotesTest(),)), click=track()),
    )
    assert [n.id for n in faultless.notes if n.status is NoteStatus.EXTRA] == []
    assert "headphones" in faultless.reason
    told = judge(
        with_click(wrong, -10.0),
        JudgingRequest(tune(), Criterion(tests=(NotesTest(),)), click=track()),
    )
    assert told.answer is not Answer.YES


@pytest.mark.parametrize("hz", [27.5, 110.0, 440.0, 2093.0])
def test_a_steady_pure_tone_is_not_clipped_and_a_cut_one_is(hz):
    t = np.arange(3 * RATE) / RATE
    tone = 0.9 * np.sin(2 * np.pi * hz * t)
    assert obstacle_in_sound(Sound(tone.astype(np.float32), RATE)) is None
    for over in (1.1, 2.0, 10.0):
        cut = np.clip(over * tone, -0.9, 0.9)
        assert clipped_share(cut.astype(np.float32), 0.9) > 0.1
        obstacle = obstacle_in_sound(Sound(cut.astype(np.float32), RATE))
        assert obstacle is not None
        assert "clipped" in obstacle.reason
