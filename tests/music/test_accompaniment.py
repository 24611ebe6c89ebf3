"""Bass and chords under changes: what the rules of the trade promise."""

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldtake.music.notation.reading.charts import read_changes
from coldtake.music.playback import accompaniment_bass, accompaniment_chords
from coldtake.music.playback.accompaniment import FEELS, accompany, feels_for
from coldtake.music.playback.accompaniment_chords import nearest_voicings
from coldtake.music.playback.accompaniment_spans import cells

TUNE = "Dm7 | G7 | Cmaj7 | % | Fm7 Bb7 | Ebmaj9 | D7b9 G7alt | C6/9 | N.C. | C/E Am7/G | D13 | G"
SYMBOLS = ("C", "Cm7", "F#7b9", "Bbmaj7", "Ebm6", "Aø", "Gdim7", "Dsus4", "E7#9", "Ab13", "C/E")


def bass_of(text, feel, metre=(4, 4)):
    return [n for n in accompany(read_changes(text, metre), feel) if n.part == "bass"]


@pytest.mark.parametrize("feel", [f.name for f in FEELS if f.name != "waltz"])
def test_every_chord_begins_on_its_bass_tone_and_nothing_sounds_under_no_chord(feel):
    changes = read_changes(TUNE)
    notes = accompany(changes, feel)
    at = {n.onset_beats: n.pitch for n in notes if n.part == "bass"}
    for cell in cells(changes):
        if not cell.sounds:
            end = cell.onset + cell.beats
            assert [n for n in notes if cell.onset <= n.onset_beats < end] == []
        elif cell.begins:
            assert at[float(cell.onset)] % 12 == cell.bass_class
    low = [n.pitch for n in notes if n.part == "bass"]
    assert accompaniment_bass.LOW <= min(low) <= max(low) <= accompaniment_bass.HIGH


def test_slash_and_poly_chords_give_the_bass_its_tone():
    assert bass_of("C/E | Eb|C7", "held")[0].pitch % 12 == 4
    poly = cells(read_changes("D/C"))[0]
    assert poly.bass_class == 0


def test_voices_move_to_the_nearest_tones():
    """II-V-I: sevenths fall by step, other voices stay or step (common practice, no source)."""
    voicings = nearest_voicings(cells(read_changes("Dm7 | G7 | Cmaj7")))
    for before, after in pairwise(voicings):
        assert max(abs(a - b) for a, b in zip(before, after, strict=True)) <= 7
        assert sum(abs(a - b) for a, b in zip(before, after, strict=True)) <= 12


def test_nearest_means_nearest():
    """No other choice of octaves moves the voices less by more than the pull to the middle."""
    under = cells(read_changes("C | Am | F | G | Em | C"))
    voicings = nearest_voicings(under)
    for cell, before, chosen in zip(under[1:], voicings, voicings[1:], strict=False):
        pitches = range(accompaniment_chords.LOW, accompaniment_chords.HIGH + 1)
        others = [
            (a, b, c)
            for a in pitches
            for b in pitches
            for c in pitches
            if a < b < c and c - a <= 17 and b - a >= 3
            if {a % 12, b % 12, c % 12} == cell.chord.pitch_classes
        ]

        def moved(way, before=before):
            return sum(abs(x - y) for x, y in zip(before, way, strict=True))

        assert moved(chosen) <= min(map(moved, others)) + 0.4 * 10


@given(st.lists(st.sampled_from(SYMBOLS), min_size=1, max_size=12))
@settings(max_examples=60, deadline=None)
def test_any_changes_in_any_feel_stay_in_their_registers(symbols):
    changes = read_changes(" | ".join(symbols))
    for feel in feels_for(changes):
        notes = accompany(changes, feel.name)
        assert notes
        for cell in cells(changes):
            end = cell.onset + cell.beats
            own = [n for n in notes if n.part == "chords" and cell.onset <= n.onset_beats < end]
            assert own
            assert {n.pitch % 12 for n in own} <= cell.chord.pitch_classes
            assert all(
                accompaniment_chords.LOW <= n.pitch <= accompaniment_chords.HIGH for n in own
            )
        assert max(n.onset_beats + n.beats for n in notes) <= changes.bars * 4 + 1e-9


def test_a_walking_bass_plays_every_beat_and_comes_into_roots_by_step():
    line = bass_of("Dm7 | G7 | Cmaj7 | A7 | Dm7 | G7 | C6 | C6", "walking")
    assert [n.onset_beats for n in line] == [float(k) for k in range(32)]
    for bar in range(1, 7):
        before, root = line[4 * bar - 1].pitch, line[4 * bar].pitch
        assert 1 <= abs(root - before) <= 2
    assert all(a.pitch != b.pitch for a, b in pairwise(line))
    assert max(abs(a.pitch - b.pitch) for a, b in pairwise(line)) <= 9


def test_two_beat_plays_root_and_the_chords_own_fifth():
    line = bass_of("C | Cm7b5", "two_beat")
    assert [n.onset_beats for n in line] == [0, 2, 4, 6]
    assert [n.pitch % 12 for n in line] == [0, 7, 0, 6]


def test_a_waltz_has_its_bass_on_one_and_chords_on_two_and_three():
    notes = accompany(read_changes("G | % | D7 | G", (3, 4)), "waltz")
    assert [n.onset_beats for n in notes if n.part == "bass"] == [0, 3, 6, 9]
    assert {n.onset_beats % 3 for n in notes if n.part == "chords"} == {1, 2}


def test_a_pick_up_moves_the_bars():
    changes = read_changes("C | F | G | C")
    bars = [Fraction(0), Fraction(1), Fraction(5), Fraction(9), Fraction(13)]
    onsets = {n.onset_beats for n in accompany(changes, "two_beat", bars) if n.part == "chords"}
    assert {(o - 1) % 4 for o in onsets if o >= 1} <= {0, 1, 3}
    assert 2.0 in onsets


def test_feels_follow_the_metre():
    names = {m: [f.name for f in feels_for(read_changes("C | F", m))] for m in ((4, 4), (3, 4))}
    assert names == {
        (4, 4): ["walking", "two_beat", "even", "held"],
        (3, 4): ["walking", "waltz", "held"],
    }
    assert [f.name for f in feels_for(read_changes("C | F", (6, 8)))] == ["held"]
    assert [f.name for f in feels_for(read_changes("C | F", (7, 8)))] == ["held"]
    with pytest.raises(ValueError, match="does not suit"):
        accompany(read_changes("C", (4, 4)), "waltz")


def test_the_same_changes_give_the_same_notes():
    assert accompany(read_changes(TUNE), "walking") == accompany(read_changes(TUNE), "walking")
