"""Some bars of a passage, in sound and on the page."""

import pytest
from scores import bar, barline, musicxml, note, repeat

from coldtake.errors import PassageError
from coldtake.music.notation.engraving.engraver import engrave
from coldtake.music.notation.reading.excerpt import select_bars
from coldtake.music.notation.reading.reader import read_passage

TUNE = """X:1
T:Invented
M:3/4
L:1/4
Q:1/4=100
K:Bb
B|"Bb"B c d|[K:C]e2 f-|[M:2/4]f e|[Q:1/4=60][K:C clef=bass]C D|E, F,:|
"""


@pytest.fixture
def tune():
    return read_passage(TUNE, "abc")


def test_all_bars_are_the_passage_itself(tune):
    assert select_bars(tune, None, None) is tune
    assert select_bars(tune, 1, len(tune.bars)) is tune


def test_bars_are_counted_from_one_as_played(tune):
    part = select_bars(tune, 3, 4)
    assert [(b.index, b.label, b.onset_beats) for b in part.bars] == [(0, "2", 0), (1, "3", 3)]
    assert [(n.name, n.onset_beats, n.duration_beats, n.bar_index) for n in part.notes] == [
        ("E5", 0, 2, 0),
        ("F5", 2, 2, 0),
        ("E5", 4, 1, 1),
    ]
    whole = {n.id for n in tune.notes}
    assert {n.id for n in part.notes} <= whole


def test_a_note_tied_into_the_first_bar_starts_there(tune):
    part = select_bars(tune, 4, 4)
    assert [(n.name, n.onset_beats, n.duration_beats) for n in part.notes] == [
        ("F5", 0, 1),
        ("E5", 1, 1),
    ]


def test_tempo_key_and_metre_in_force_go_along(tune):
    part = select_bars(tune, 6, 6)
    assert part.tempi[0].bpm == 60
    assert (part.bars[0].metre, part.bars[0].key_fifths) == ((2, 4), 0)
    assert [n.pitch for n in part.notes] == [52, 53]
    assert 'shape="F"' in part.mei.partition("<section")[0]


def test_second_playing_keeps_its_ids(tune):
    half = len(tune.bars) // 2
    part = select_bars(tune, half + 1, half + 2)
    assert all(n.id.endswith("~2") for n in part.notes)
    assert all("~" not in head for n in part.notes for head in n.notation_ids)


def test_only_the_chosen_bars_are_on_the_page(tune):
    part = select_bars(tune, 2, 3)
    drawn = engrave(part)
    heads = {head for n in part.notes for head in n.notation_ids}
    others = {head for n in tune.notes for head in n.notation_ids} - heads
    assert all(f'data-note="{h}"' in drawn for h in heads)
    assert not any(f'data-note="{h}"' in drawn for h in others)


def test_an_excerpt_of_an_excerpt(tune):
    twice = select_bars(select_bars(tune, 2, 5), 2, 3)
    once = select_bars(tune, 3, 4)
    assert [(n.id, n.onset_beats, n.pitch) for n in twice.notes] == [
        (n.id, n.onset_beats, n.pitch) for n in once.notes
    ]


def test_every_excerpt_reads_back_as_it_sounds(tune):
    for first in range(1, len(tune.bars) + 1, 2):
        for last in range(first, len(tune.bars) + 1, 2):
            part = select_bars(tune, first, last)
            assert len(part.bars) == last - first + 1
            again = read_passage(part.mei, "mei")
            assert [(n.pitch, n.onset_beats) for n in again.notes] == [
                (n.pitch, n.onset_beats) for n in part.notes
            ]


def test_a_transposing_part_stays_one():
    text = musicxml(
        *(bar("C4", "D4") for _ in range(4)),
        attributes="<divisions>4</divisions><transpose><chromatic>-2</chromatic></transpose>",
    )
    part = select_bars(read_passage(text, "musicxml"), 3, 4)
    assert (part.notes[0].pitch, part.notes[0].written_pitch, part.transposition) == (58, 60, -2)


def test_a_range_over_a_repeat():
    text = musicxml(bar("C4"), bar("D4") + barline("right", repeat("backward")), note("E4", 16))
    part = select_bars(read_passage(text, "musicxml"), 2, 3)
    assert [n.name for n in part.notes] == ["D4", "C4"]
    assert [n.id.partition("~")[2] for n in part.notes] == ["", "2"]


@pytest.mark.parametrize(("first", "last"), [(0, 2), (3, 2), (1, 99), (99, 100), (-1, None)])
def test_bars_that_are_not_there(tune, first, last):
    with pytest.raises(PassageError, match="bars as played") as caught:
        select_bars(tune, first, last)
    assert f"between 1 and {len(tune.bars)}" in caught.value.remedy
