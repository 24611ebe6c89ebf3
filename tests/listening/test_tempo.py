"""The tempo fit separates slow change, waits and single displaced notes."""

import numpy as np
import pytest

from coldtake.listening.features.tempo import Grid, against_click, fit_tempo

BEATS = np.arange(0, 24, 0.5)
PERIOD = 0.6


def scatter(ms, seed=1):
    return np.random.default_rng(seed).normal(0, ms / 1e3, len(BEATS))


def test_a_steady_tempo_and_one_late_note():
    times = PERIOD * BEATS + scatter(12)
    times[20] += 0.1
    fit = fit_tempo(BEATS, times)
    assert fit.bpm == pytest.approx(100.0, rel=0.01)
    assert abs(fit.bpm - 100.0) <= fit.bpm_error
    assert np.argmax(np.abs(fit.deviations_s)) == 20
    assert fit.deviations_s[20] == pytest.approx(0.1, abs=0.03)
    assert fit.waits == ()


def test_a_rubato_is_followed_and_its_late_note_still_stands_out():
    clean = PERIOD * (BEATS + 0.1 * np.sin(2 * np.pi * BEATS / 10) * 10 / (2 * np.pi))
    times = clean + scatter(8)
    times[24] += 0.12
    fit = fit_tempo(BEATS, times)
    assert np.argmax(np.abs(fit.deviations_s)) == 24
    assert fit.curve_bpm.max() / fit.curve_bpm.min() > 1.1
    others = np.delete(np.abs(fit.deviations_s), [0, 23, 24, 25, len(BEATS) - 1])
    assert np.median(others) < 0.02


def test_a_swing_is_no_scatter():
    times = PERIOD * (BEATS + np.where(BEATS % 1 == 0.5, 1 / 6, 0.0)) + scatter(8)
    fit = fit_tempo(BEATS, times)
    assert fit.swing_beats == pytest.approx(1 / 6, abs=0.02)
    assert np.std(fit.deviations_s) < 0.02


def test_a_wait_is_found_with_its_length_and_shifts_no_tempo():
    times = PERIOD * BEATS + scatter(8)
    times[30:] += 0.9
    fit = fit_tempo(BEATS, times)
    ((index, beats),) = fit.waits
    assert index == 30
    assert beats == pytest.approx(1.5, abs=0.1)
    assert fit.bpm == pytest.approx(100.0, rel=0.01)


def test_going_back_is_no_wait():
    beats = np.concatenate([BEATS[:20], BEATS[12:]])
    times = np.concatenate([PERIOD * BEATS[:20], PERIOD * (BEATS[12:] - BEATS[12]) + 14.0])
    fit = fit_tempo(beats, times, restarts=[20])
    assert fit.waits == ()
    assert fit.bpm == pytest.approx(100.0, rel=0.01)
    assert np.abs(fit.deviations_s).max() < 0.005


def test_too_few_notes_have_no_tempo():
    assert fit_tempo(BEATS[:2], BEATS[:2]) is None


def test_against_a_click_a_slow_player_drifts():
    grid = Grid(music_s=3.0, beat_s=0.6, every_s=0.6, error_s=0.0)
    off = against_click(BEATS, 0.606 * BEATS + 3.01, [], grid)
    assert off[0] == pytest.approx(0.01 + 0.006 * BEATS[0])
    assert off[-1] - off[0] == pytest.approx(0.006 * BEATS[-1])


def test_who_comes_in_a_click_later_is_in_time():
    grid = Grid(music_s=3.0, beat_s=0.6, every_s=0.6, error_s=0.0)
    times = 0.6 * BEATS + 3.0 + np.where(np.arange(len(BEATS)) < 20, 1.2, 3.6)
    off = against_click(BEATS, times + 0.02, [20], grid)
    assert off == pytest.approx(np.full(len(BEATS), 0.02))


def test_long_takes_are_fitted_in_stretches_that_agree():
    beats = np.arange(0, 400, 0.5)
    times = PERIOD * beats + np.random.default_rng(2).normal(0, 0.01, len(beats))
    fit = fit_tempo(beats, times)
    assert fit.bpm == pytest.approx(100.0, rel=0.003)
    assert np.std(fit.deviations_s) == pytest.approx(0.01, rel=0.25)
