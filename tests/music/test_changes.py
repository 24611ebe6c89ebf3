"""Changes: typed and from a page; roots, guide tones by nearest motion, arpeggios."""

from itertools import pairwise

import pytest

from coldtake.errors import PassageError
from coldtake.music.notation.changes import (
    arpeggios,
    changes_abc,
    changes_of,
    guide_pair,
    guide_tones,
    held,
    roots,
)
from coldtake.music.notation.reading.charts import read_changes
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.theory.chords import read_chord
from coldtake.music.theory.instruments import INSTRUMENTS, instrument_named

CADENCE = "Dm7 | G7 | Cmaj7 | %"


def symbols(changes):
    return [span.chord.symbol for span in changes.spans]


def test_bars_share_their_beats():
    changes = read_changes("Dm7 G7 | Cmaj7 | N.C.")
    assert symbols(changes) == ["Dm7", "G7", "Cmaj7", "N.C."]
    assert [float(s.beats) for s in changes.spans] == [2, 2, 4, 4]
    assert [float(s.onset) for s in changes.spans] == [0, 2, 4, 8]
    assert (changes.bars, str(changes.key)) == (3, "C major")


def test_repeats_and_bars_like_the_one_before():
    changes = read_changes("|: C | F :| G7 | % ||")
    assert symbols(changes) == ["C", "F", "C", "F", "G7", "G7"]


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("Dm7 | G7 | Cmaj7", "C major"),
        ("Cm7 | F7 | Bbmaj7 | Ebmaj7", "B♭ major"),
        ("F#m7 | B7 | E", "E major"),
    ],
)
def test_the_key_is_guessed_from_the_chords(text, key):
    assert str(read_changes(text).key) == key


@pytest.mark.parametrize(
    ("text", "sentence"),
    [("", "no chords"), (" | ", "no chords"), ("C | Hm", "bar 2"), ("C | " * 401, "More than 400")],
)
def test_changes_that_cannot_be_read(text, sentence):
    with pytest.raises(PassageError) as fault:
        read_changes(text)
    assert sentence in str(fault.value)


def test_guide_tones_of_a_cadence_move_by_step():
    """The textbook case: third stays as seventh, seventh falls to third (common practice)."""
    one, two = guide_tones(read_changes(CADENCE), 55, 78)
    assert [str(p) for p in one] == ["F4", "F4", "E4", "E4"]
    assert [p.tone.letter for p in two] == ["C", "B", "B", "B"]
    for line in (one, two):
        assert all(abs(a.midi - b.midi) <= 2 for a, b in pairwise(line))


@pytest.mark.parametrize(
    ("symbol", "pair"),
    [
        ("Cm7", ("E♭", "B♭")),
        ("Cmaj7", ("E", "B")),
        ("C6", ("E", "A")),
        ("C", ("E", "G")),
        ("C7sus4", ("F", "B♭")),
        ("C°7", ("E♭", "B♭♭")),
    ],
)
def test_which_tones_guide(symbol, pair):
    assert tuple(str(t) for t in guide_pair(read_chord(symbol))) == pair


def test_nearest_motion_is_the_least_of_all_ways():
    changes = read_changes("Cm7 | F7 | Bbmaj7 | Ebmaj7 | Aø | D7b9 | Gm6 | Gm6")
    lines = guide_tones(changes, 50, 90)
    for i in range(1, len(changes.spans)):
        moved = sum(abs(line[i].midi - line[i - 1].midi) for line in lines)
        pair = {t.pitch_class for t in guide_pair(changes.spans[i].chord)}
        a, b = (line[i - 1].midi for line in lines)
        every = [
            abs(x - a) + abs(y - b)
            for x in range(a - 7, a + 8)
            for y in range(b - 7, b + 8)
            if {x % 12, y % 12} == pair
        ]
        assert moved == min(every)


@pytest.mark.parametrize("name", INSTRUMENTS)
def test_lines_read_back_with_their_chords(name):
    instrument = instrument_named(name)
    concert = read_changes("|: Dm7b5 G7b9 | Cm6 | % | N.C. :| Ab/C | D/C7")
    written = concert.moved(-instrument.sounds)
    low, high = instrument.low, instrument.high
    for notes in (
        lambda c: held(c, roots(c, low, high)),
        lambda c: held(c, guide_tones(c, low, high)[0]),
        lambda c: arpeggios(c, low, high),
    ):
        passage = read_passage(changes_abc(written, "Line", notes, instrument), "abc")
        assert len(passage.bars) == concert.bars == 10
        assert all(low <= n.written_pitch <= high for n in passage.notes)
        assert all(abs(b.length_beats - 4) < 1e-6 for b in passage.bars)
        again, unread = changes_of(passage)
        assert unread == ()
        assert [s.chord.pitch_classes for s in again.spans] == [
            s.chord.pitch_classes for s in written.spans
        ]
        for span in concert.spans:
            own = [
                n for n in passage.notes if span.onset <= n.onset_beats < span.onset + span.beats
            ]
            sounds = span.chord.pitch_classes
            assert {n.pitch % 12 for n in own} <= sounds


def test_changes_of_a_page_and_what_could_not_be_read():
    abc = 'X:1\nM:4/4\nL:1/4\nK:F\nC2 "Gm7"D2 | "C7"E2 "weird"F2 | "Fmaj7"F4 |]\n'
    changes, unread = changes_of(read_passage(abc, "abc"))
    assert symbols(changes) == ["N.C.", "Gm7", "C7", "Fmaj7"]
    assert [float(s.beats) for s in changes.spans] == [2, 2, 4, 4]
    assert unread == ("weird",)
    assert str(changes.key) == "F major"


def test_a_page_without_chords_has_no_changes():
    assert changes_of(read_passage("X:1\nK:C\nCDEF|\n", "abc")) == (None, ())
