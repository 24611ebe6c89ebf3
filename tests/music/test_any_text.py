"""Whatever is typed: a passage that keeps its promises, or a PassageError with place or remedy."""

import random

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from coldtake.errors import PassageError
from coldtake.music.notation.reading.excerpt import select_bars
from coldtake.music.notation.reading.reader import read_passage, unpack

TUNES = (
    "X:1\nM:3/4\nK:G\nB>cd BAG|FA Ac BA|B>cd BAG|DG GB AG:|\n",
    'X:1\nQ:"Slow" 3/8=40\nM:6/8\nK:Bb\n|:"Dm"{a}A2B- (3BBc [ceg]2z|1 d3 !f!e3:|2 f6-|f6|]\n',
    "X:1\nM:4/4\nL:1/4\nV:1\nV:2 clef=bass\nK:C\nV:1\nc4|(d2e2)|\nV:2\nC,4&E,4|Z|\n",
)
SIGNS = list("|:[](){}<>-^_=,'/0123456789zxZ\"!&abcDEFGKLMQVPX \n%.~+*$@\\é♭")


def tells_what_to_do(refusal: PassageError) -> None:
    assert refusal.what
    assert refusal.where or refusal.remedy


def kept_promises(text: str) -> None:
    try:
        passage = read_passage(text, "abc")
    except PassageError as refusal:
        tells_what_to_do(refusal)
        return
    assert len({n.id for n in passage.notes}) == len(passage.notes) > 0
    assert all(n.onset_beats >= 0 and n.duration_beats > 0 for n in passage.notes)
    assert [b.index for b in passage.bars] == list(range(len(passage.bars)))
    for before, after in zip(passage.bars, passage.bars[1:], strict=False):
        assert after.onset_beats == pytest.approx(before.onset_beats + before.length_beats)
    for note in passage.notes:
        bar = passage.bars[note.bar_index]
        assert bar.onset_beats - 1 <= note.onset_beats <= bar.onset_beats + bar.length_beats
    assert len(select_bars(passage, 1, 1).bars) == 1


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet=SIGNS, max_size=60))
def test_random_music(text):
    kept_promises(f"X:1\nK:C\n{text}\n")


@settings(max_examples=60, deadline=None)
@given(st.text(max_size=80))
def test_random_text(text):
    kept_promises(text)


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 2**31), st.sampled_from(TUNES))
def test_tunes_with_slips_of_the_finger(seed, tune):
    rng = random.Random(seed)
    text = list(tune)
    for _ in range(rng.choice([1, 1, 2, 4])):
        place = rng.randrange(len(text))
        text[place : place + rng.randrange(2)] = rng.choice(SIGNS)
    kept_promises("".join(text))


@example(b"<", "")  # found by chance: pasted XML that breaks off had neither place nor remedy
@settings(max_examples=100, deadline=None)
@given(st.binary(max_size=200), st.sampled_from(["a.musicxml", "a.mxl", "a.abc", ""]))
def test_random_bytes(data, name):
    try:
        form, text = unpack(data, name)
    except PassageError as refusal:
        tells_what_to_do(refusal)
    else:
        assert form in ("musicxml", "mei", "abc")
        assert text.strip()
