"""A flag or an accusation needs a reading that is itself sure, and no other as good.

The limits are ours, chosen on rendered takes (`bench/listening`, no outside source).
"""

from dataclasses import replace

import numpy as np
import pytest
from passages import passage_of

from coldtake.listening.alignment.performed_notes import PerformanceAlignment, PerformedNote
from coldtake.listening.features.audio_features import PITCH_STEP_S, AudioFeatures
from coldtake.listening.features.tempo import fit_tempo
from coldtake.listening.features.tones import Tone
from coldtake.listening.verdict.flags import NoteTiming, is_displaced, is_mistuned, timings
from coldtake.listening.verdict.second_reading import with_second_readings

LATE = NoteTiming(from_grid_s=0.1, own_s=0.1, spread_s=0.01, room_s=0.5)


def heard(index, onset_s, pitch, **more):
    tone = Tone(pitch, 0.05, 1.0, -20.0, 20, error_cents=4.0)
    note = PerformedNote(index, True, onset_s, 0.01, onset_s + 0.4, tone, 1.0, error_s=0.008)
    return replace(note, **more)


def test_a_late_note_is_flagged():
    assert is_displaced(heard(3, 1.0, 60.0), LATE)


@pytest.mark.parametrize(
    ("note", "timing"),
    [
        ({"error_s": 0.07}, {}),  # its onset is not known well enough
        ({"error_s": 0.045}, {}),  # what is left of its lateness is too little
        ({"attack": 0.3}, {}),  # nothing says that it begins there
        ({"right": None}, {}),
        ({}, {"spread_s": 0.03}),  # others of the player's notes stray as far
        ({}, {"room_s": 0.15}),  # nearer to the next note's place than to its own
        ({}, {"swings": True}),
    ],
)
def test_what_is_not_sure_is_not_flagged(note, timing):
    assert not is_displaced(heard(3, 1.0, 60.0, **note), replace(LATE, **timing))


def test_a_late_off_beat_among_straight_ones_is_late_and_a_single_one_may_be_swung():
    straight = np.array([0.0, 1.0, 1.5, 2.0, 3.0, 3.5, 4.0, 5.0, 6.0])
    single = np.array([0.0, 1.0, 2.0, 3.0, 3.5, 4.0, 5.0, 6.0])
    for beats, swings in ((straight, False), (single, True)):
        times = beats * 0.6
        times[list(beats).index(3.5)] += 0.1
        fit = fit_tempo(beats, times)
        found = timings(fit, fit.deviations_s, tuple(range(len(beats))), beats)
        assert found[list(beats).index(3.5)].swings is swings


@pytest.mark.parametrize(
    ("cents", "error", "flagged"), [(33, 4, True), (33, 12, False), (20, 0, False)]
)
def test_out_of_tune_by_more_than_its_own_error(cents, error, flagged):
    note = heard(0, 1.0, 60.0)
    note = replace(note, tone=replace(note.tone, error_cents=error))
    assert is_mistuned(note, float(cents)) is flagged
    assert is_mistuned(note, -float(cents)) is flagged
    assert not is_mistuned(replace(note, right=None), float(cents))


def sound_of(stretches, duration_s=3.0):
    """What the pitch detector says: (start, stop, pitch) in order."""
    pitch = np.full(round(duration_s / PITCH_STEP_S), 20.0)
    sure = np.zeros(len(pitch))
    for start, stop, what in stretches:
        part = slice(round(start / PITCH_STEP_S), round(stop / PITCH_STEP_S))
        pitch[part], sure[part] = what, 1.0
    return hearing(pitch, sure)


def hearing(pitch, sure):
    samples = np.zeros(round(len(pitch) * PITCH_STEP_S * 16_000), np.float32)
    fine = np.zeros(len(pitch) * 8)
    return AudioFeatures(samples, 1.0, pitch, sure, np.full(len(pitch), -20.0), fine, fine)


THREE = passage_of([(60, 1.0), (64, 1.0), (67, 1.0)])
BOTH = {0: heard(0, 0.0, 60.0), 2: heard(2, 2.0, 67.0)}


def reading(kept, extras=()):
    playings = tuple(sorted([*kept.values(), *extras], key=lambda p: p.onset_s))
    return PerformanceAlignment(playings, (), kept, tuple(extras), 0.0, 0.9)


def test_a_missed_note_whose_pitch_sounds_where_it_was_due_cannot_be_told():
    there = sound_of([(0.0, 1.0, 60.0), (1.0, 1.2, 64.1), (2.0, 3.0, 67.0)])
    gone = sound_of([(0.0, 1.9, 60.0), (2.0, 3.0, 67.0)])
    assert with_second_readings(there, THREE, reading(BOTH)).unsure == {1}
    assert with_second_readings(gone, THREE, reading(BOTH)).unsure == frozenset()


def test_an_extra_tone_with_the_pitch_of_a_missed_note_is_neither():
    quiet = sound_of([])
    same = with_second_readings(quiet, THREE, reading(BOTH, [heard(None, 1.0, 76.0)]))
    assert (same.extras, same.unsure) == ((), {1})


def test_a_missed_note_and_another_tone_in_its_place_are_one_wrong_note():
    found = with_second_readings(sound_of([]), THREE, reading(BOTH, [heard(None, 1.0, 62.0)]))
    assert (found.extras, found.unsure) == ((), frozenset())
    assert found.kept[1].right is False
    elsewhere = with_second_readings(sound_of([]), THREE, reading(BOTH, [heard(None, 1.8, 62.0)]))
    assert len(elsewhere.extras) == 1
    assert 1 not in elsewhere.kept


@pytest.mark.parametrize(("clarity", "unsure"), [(0.9, frozenset()), (0.2, {1})])
def test_a_note_struck_again_is_told_only_where_attacks_are_clear(clarity, unsure):
    twice = passage_of([(60, 1.0), (60, 1.0), (67, 1.0)])
    held = sound_of([(0.0, 1.9, 60.0), (2.0, 3.0, 67.0)])
    found = with_second_readings(held, twice, replace(reading(BOTH), clarity=clarity))
    assert found.unsure == unsure


def test_a_tone_that_begins_with_a_note_is_no_extra():
    found = with_second_readings(sound_of([]), THREE, reading(BOTH, [heard(None, 2.03, 62.0)]))
    assert found.extras == ()


@pytest.mark.parametrize(
    ("pitch", "clarity", "right"),
    [
        (62.0, 0.2, False),  # a plainly wrong note
        (60.1, 0.2, None),  # where attacks are not clear the note before may sound on
        (60.1, 0.9, False),
        (88.0, 0.9, None),  # a partial of the note
        (48.0, 0.9, False),
    ],
)
def test_a_wrong_note_that_something_else_explains_is_left_open(pitch, clarity, right):
    kept = {**BOTH, 1: heard(1, 1.0, pitch, right=False)}
    found = with_second_readings(sound_of([]), THREE, replace(reading(kept), clarity=clarity))
    assert found.kept[1].right is right
