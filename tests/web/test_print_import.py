"""A printed page becomes notation, and judges takes only once it was compared with the page.

The page is engraved by verovio and set on paper by typst; the sound is that of the same notes.
"""

import io
import re

import msgspec
import numpy as np
import pytest
import soundfile
import typst
import verovio
from desk import words

from coldtake.domain.take import Answer
from coldtake.domain.topic import PassageRef
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.playback.sounding import schedule
from coldtake.music.playback.synth import render

ABC = "X:1\nT:Invented\nM:3/4\nL:1/4\nK:G\nGAB|dBG|c2A|F2D|GBd|gdB|cAF|G3|]\n"
RATE = 22050


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    """One page as PDF."""
    folder = tmp_path_factory.mktemp("print")
    kit = verovio.toolkit()
    kit.setOptions({"pageWidth": 1800, "pageHeight": 900, "scale": 60, "adjustPageHeight": True})
    assert kit.loadData(read_passage(ABC, "abc").mei)
    (folder / "a.svg").write_text(kit.renderToSVG(1))
    text = '#set page(width: 210mm, height: 120mm, margin: 15mm)\n#image("a.svg", width: 180mm)'
    (folder / "a.typ").write_text(text)
    return typst.compile(folder / "a.typ", format="pdf")


@pytest.fixture
def read(client, services, page):
    """The passage that the page became."""
    files = {"files": ("waltz.pdf", page, "application/pdf")}
    answer = client.post("/import", files=files)
    assert "1 piece of notation saved" in words(answer.text)
    [stored] = services.state().passages.values()
    return stored


def take(client, step) -> str:
    notes = list(schedule(read_passage(ABC, "abc"), 96))
    quiet = np.zeros(RATE // 2, dtype=np.float32)
    sound = np.concatenate([quiet, render(tuple(notes), rate=RATE, voice="clarinet"), quiet])
    out = io.BytesIO()
    soundfile.write(out, sound, RATE, format="WAV")
    files = {"sound": ("take.wav", out.getvalue())}
    answer = client.post(f"/steps/{step.id}/takes", files=files, data={"cold": "yes"})
    return str(answer.url).rsplit("/", 1)[-1]


def test_it_is_read_told_as_such_and_waits_for_the_player_s_eye(client, services, read):
    assert read.title == "waltz"
    assert read.to_compare
    known = read_passage(ABC, "abc")
    found = services.passages.read(read.id)
    assert [n.pitch for n in found.notes] == [n.pitch for n in known.notes]
    listed = client.get("/import").text
    assert "Compare it with your page" in words(listed)
    assert "Edit grid" not in listed
    shown = words(client.get(f"/passages/{read.id}").text)
    assert "Takes are judged by it only after that" in shown


def test_takes_are_judged_by_it_only_after_it_was_compared(client, services, desk, read):
    step = desk.step(desk.topic(), "Waltz")
    ref = PassageRef(passage_id=read.id)
    exercise = msgspec.structs.replace(step.exercise, passage=ref)
    services.pile.keep_step(msgspec.structs.replace(step, exercise=exercise))
    assert "read from print" in words(client.get(f"/steps/{step.id}").text)
    take_id = take(client, step)
    verdict = services.takes.get(take_id).verdict
    assert verdict.answer is Answer.CANNOT_TELL
    assert "not compared with its page yet" in verdict.reason
    client.post(f"/passages/{read.id}/compared")
    assert not services.state().passages[read.id].to_compare
    assert "Compare this notation" not in client.get(f"/passages/{read.id}").text
    client.post(f"/takes/{take_id}/listen")
    assert services.takes.get(take_id).verdict.answer is Answer.YES


def test_the_same_page_is_kept_once_and_stays_compared(client, services, page, read):
    client.post(f"/passages/{read.id}/compared")
    files = {"files": ("waltz.pdf", page, "application/pdf")}
    assert "1 already saved" in words(client.post("/import", files=files).text)
    [stored] = services.state().passages.values()
    assert stored.compared


@pytest.mark.parametrize(
    ("name", "data"),
    [("a.pdf", b"%PDF-1.7 broken"), ("a.png", b"\x89PNG\r\n\x1a\n"), ("a.jpg", b"\xff\xd8\xff")],
)
def test_what_is_no_page_is_refused_in_words(client, services, name, data):
    answer = client.post("/import", files={"files": (name, data)})
    assert answer.status_code == 200
    said = words(answer.text)
    assert "1 not readable" in said
    assert re.search(r"Not imported a\.\w+ \w", said)
    assert not services.state().passages


def test_what_was_not_read_from_print_needs_no_comparing(client, services):
    client.post("/import", data={"abc": ABC})
    [stored] = services.state().passages.values()
    before = services.state().passages[stored.id]
    client.post(f"/passages/{stored.id}/compared")
    assert services.state().passages[stored.id] == before
    assert not stored.to_compare
