"""Files that are not notation, each with its own message."""

import io
import zipfile

import pytest
from scores import bar, musicxml

from coldtake.errors import PassageError
from coldtake.music.notation import verovio_client
from coldtake.music.notation.reading.reader import read_passage, unpack
from coldtake.subprocesses import worker

XML = musicxml(bar("C4"))


def mxl(files, method=zipfile.ZIP_DEFLATED):
    box = io.BytesIO()
    with zipfile.ZipFile(box, "w", method) as out:
        for name, content in files.items():
            out.writestr(name, content)
    return box.getvalue()


CONTAINER = '<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>'


@pytest.mark.parametrize(
    ("data", "name", "form"),
    [
        (XML.encode(), "a.musicxml", "musicxml"),
        (XML.encode("utf-16"), "a.xml", "musicxml"),
        (("\ufeff" + XML).encode(), "a.xml", "musicxml"),
        (mxl({"META-INF/container.xml": CONTAINER, "score.xml": XML}), "a.mxl", "musicxml"),
        (mxl({"other.xml": XML}), "a.mxl", "musicxml"),
        (b"X:1\nK:C\nCDEF|\n", "a.abc", "abc"),
        (b"X:1\nT:caf\xe9\nK:C\nCDEF|\n", "latin.abc", "abc"),
        (
            b'<?xml version="1.0"?><mei xmlns="http://www.music-encoding.org/ns/mei"/>',
            "a.mei",
            "mei",
        ),
    ],
)
def test_what_can_be_read(data, name, form):
    assert unpack(data, name)[0] == form


def test_an_mxl_reads_like_its_score():
    packed = unpack(mxl({"META-INF/container.xml": CONTAINER, "score.xml": XML}), "a.mxl")
    assert read_passage(packed[1], packed[0]).notes == read_passage(XML, "musicxml").notes


BOMB = mxl({"META-INF/container.xml": CONTAINER, "score.xml": "<a>" + "x" * 40_000_000})
REFUSED = {
    "empty": (b"", "is empty"),
    "only spaces": (b" \n\n ", "is empty"),
    "MIDI renamed": (
        b"MThd\x00\x00\x00\x06\x00\x01\x00\x02\x01\xe0MTrk",
        "MIDI file cannot be read",
    ),
    "PDF": (b"%PDF-1.7 ...", "PDF"),
    "picture": (b"\x89PNG\r\n\x1a\n....", "picture"),
    "sound": (b"RIFF\x24\x00\x00\x00WAVEfmt ", "sound file"),
    "binary": (b"\x00\x01\x02\xff" * 100, "not text"),
    "words": (b"Dear teacher, here is my homework.", "neither MusicXML, MEI nor ABC"),
    "page": (b"<html><body>notes</body></html>", "neither MusicXML nor MEI"),
    "broken XML": (b"<scor <<", "XML is broken"),
    "zip without a score": (mxl({"a.txt": "x"}), "damaged or is not compressed MusicXML"),
    "cut zip": (mxl({"score.xml": XML})[:80], "damaged or is not compressed MusicXML"),
    "bomb": (BOMB, "larger than 30 MB"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_refused(name):
    data, what = REFUSED[name]
    with pytest.raises(PassageError, match=what) as caught:
        unpack(data, f"{name}.musicxml")
    assert caught.value.remedy or caught.value.where


def test_every_refusal_has_its_own_message():
    messages = []
    for name in ("empty", "MIDI renamed", "PDF", "binary", "words", "zip without a score", "bomb"):
        with pytest.raises(PassageError) as caught:
            unpack(REFUSED[name][0], "x.musicxml")
        messages.append(caught.value.what)
    assert len(set(messages)) == len(messages)


def test_a_huge_file_is_refused_unread():
    with pytest.raises(PassageError, match="larger than 30 MB"):
        unpack(b"<score-partwise>" + bytes(100_000_000), "huge.musicxml")


def test_entities_are_refused():
    """The "billion laughs": ten lines that would grow to gigabytes."""
    lines = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10 if n else "lol"}">' for n in range(10))
    text = f"<!DOCTYPE score-partwise [{lines}]><score-partwise><part>&l9;</part></score-partwise>"
    form, found = unpack(text.encode(), "laughs.musicxml")
    with pytest.raises(PassageError, match="entities"):
        read_passage(found, form)


@pytest.mark.parametrize(
    ("text", "what", "where"),
    [
        (XML[:-30], "MusicXML is broken", "line 1, character"),
        (XML.replace("</pitch>", "</pich>"), "mismatched tag", "line 1, character"),
        ("<score-partwise></score-partwise>", "no part", ""),
        (XML.replace("<note>", "<remark>").replace("</note>", "</remark>"), "no notes", ""),
        ("<other/>", "begins with <other>", "line 1"),
    ],
)
def test_broken_musicxml(text, what, where):
    with pytest.raises(PassageError, match=what) as caught:
        read_passage(text, "musicxml")
    assert caught.value.where.startswith(where)
    assert caught.value.remedy


@pytest.mark.parametrize(
    "text", ["<mei", "<mei/>", "<mei xmlns='http://www.music-encoding.org/ns/mei'/>"]
)
def test_broken_mei(text):
    with pytest.raises(PassageError) as caught:
        read_passage(text, "mei")
    assert caught.value.remedy


def test_an_unknown_format():
    with pytest.raises(PassageError, match="not a notation"):
        read_passage("x", "midi")


def test_notation_that_ends_the_engraver_is_refused_and_the_next_one_is_read():
    """Seen with verovio 6.4.1: SIGFPE and aborts, in about 1 of 100 mutated files.

    Which mutation ends the process differs between versions, so the process itself is ended here.
    """
    read_passage(musicxml(bar("D4")), "musicxml")
    processes = [one.popen for one in verovio_client.WORKER._idle]
    for process in processes:
        process.kill()
        process.wait()
    assert len(read_passage(musicxml(bar("E4", "F4")), "musicxml").notes) == 2
    assert not {one.popen for one in verovio_client.WORKER._idle} & set(processes)


def test_an_engraver_that_dies_over_a_file_gives_a_refusal(monkeypatch):
    def dies(process, *job):
        process.popen.kill()
        process.popen.wait()
        return exchange(process, *job)

    exchange = worker._exchange
    monkeypatch.setattr(worker, "_exchange", dies)
    with pytest.raises(PassageError, match="gave up") as caught:
        read_passage(musicxml(bar("A4", "B4", "C5", "D5")), "musicxml")
    assert caught.value.remedy
    monkeypatch.undo()
    assert len(read_passage(musicxml(bar("A4", "B4", "C5", "D5")), "musicxml").notes) == 4
