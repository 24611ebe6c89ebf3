"""Printed pages: engraved by verovio, set on paper by typst, read back; music21 reads the outcome.

The truth is what stands in the MEI, read by `read_passage` (verovio itself); figures by engraver
and grade stand in `bench/print/RESULTS.md`.
"""

import io
import json
import struct
import zlib

import music21
import numpy as np
import pytest
import typst
import verovio
from PIL import Image
from scipy import ndimage

from coldtake.cli import main
from coldtake.errors import PassageError
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.print import assembling, network, paper
from coldtake.music.print.network import SeenSymbol
from coldtake.music.print.worker_client import read_page

ABC = """X:1
T:Invented
M:3/4
L:1/8
K:D
D2F2A2|d3cBA|^G2 A2 z2|=c2B2A2|(3FGA B4-|B2 A2 F2|E6|z6|
D2F2A2|d3efd|c2 B2 _B2|A6-|A2 G2 E2|F2 E2 C2|D6|]
"""


@pytest.fixture(scope="module")
def engraved(tmp_path_factory):
    """The passage, and its page as PDF and as PNG."""
    folder = tmp_path_factory.mktemp("print")
    passage = read_passage(ABC, "abc")
    kit = verovio.toolkit()
    kit.setOptions({"pageWidth": 1800, "pageHeight": 900, "scale": 60, "adjustPageHeight": True})
    assert kit.loadData(passage.mei)
    (folder / "a.svg").write_text(kit.renderToSVG(1))
    text = '#set page(width: 210mm, height: 150mm, margin: 15mm)\n#image("a.svg", width: 180mm)'
    (folder / "a.typ").write_text(text)
    pages = {kind: typst.compile(folder / "a.typ", format=kind, ppi=200) for kind in ("pdf", "png")}
    return passage, pages


def sounded(page):
    """(pitch, quarters) as heard: ties joined, rests left out."""
    out, tied = [], False
    for note in (n for staff in page.staves for bar in staff.bars for n in bar.notes):
        if note.pitch is not None and tied:
            out[-1] = (out[-1][0], round(out[-1][1] + note.beats, 3))
        elif note.pitch is not None:
            out.append((note.pitch, round(note.beats, 3)))
        tied = note.tie
    return out


def photographed(png: bytes) -> bytes:
    """Turned by two degrees, in uneven light, soft and squeezed."""
    gray = np.asarray(Image.open(io.BytesIO(png)).convert("L"), np.float32)
    gray = ndimage.gaussian_filter(ndimage.rotate(gray, 2.0, order=1, cval=255), 0.8)
    light = np.linspace(1.0, 0.55, gray.shape[1])
    gray = (40 + 0.8 * gray) * light + np.random.default_rng(1).normal(0, 4, gray.shape)
    out = io.BytesIO()
    Image.fromarray(np.clip(gray, 0, 255).astype(np.uint8)).save(out, "JPEG", quality=70)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["pdf", "jpeg"])
def test_a_page_is_read_as_it_was_written(engraved, kind):
    passage, pages = engraved
    page = read_page(pages["pdf"] if kind == "pdf" else photographed(pages["png"]))
    wanted = [(n.pitch, round(n.duration_beats, 3)) for n in passage.notes]
    assert sounded(page) == wanted
    bars = [bar for staff in page.staves for bar in staff.bars]
    assert (len(bars), {(b.key_fifths, b.time, b.clef) for b in bars}) == (15, {(2, "3/4", "G")})
    assert sum(bar.doubtful for bar in bars) <= 1
    assert all(0 <= bar.left < bar.right <= 1 for bar in bars)


def test_the_command_writes_what_music21_reads(engraved, tmp_path, capsys):
    passage, pages = engraved
    (tmp_path / "page.pdf").write_bytes(pages["pdf"])
    out = tmp_path / "tune.musicxml"
    command = ["read", str(tmp_path / "page.pdf"), "--musicxml", str(out), "--json"]
    assert main(command) == 0
    found = json.loads(capsys.readouterr().out)
    first = found["staves"][0]
    assert (first["clef"], first["key_fifths"], first["time"]) == ("treble", 2, "3/4")
    assert first["bars"][0]["notes"][0] == {"pitch": 62, "beats": 1.0, "tie": False, "grace": False}
    score = music21.converter.parse(out).stripTies()
    heard = [(n.pitch.midi, round(float(n.quarterLength), 3)) for n in score.recurse().notes]
    assert heard == [(n.pitch, round(n.duration_beats, 3)) for n in passage.notes]
    assert main(command[:2]) == 0
    said = capsys.readouterr().out.splitlines()
    assert said[1].startswith("System 1, staff 1: treble clef, 2 sharps, 3/4, bars: ")
    assert main(command) == 2  # the file is there already
    assert "--replace" in capsys.readouterr().err


def seen(*names: str) -> list[SeenSymbol]:
    return [SeenSymbol(name, 0.999, 10.0 * at) for at, name in enumerate(names)]


def read(*names: str):
    return assembling.marked(assembling.bars_of(seen(*names), assembling.PrintState()))


def test_accidentals_hold_until_the_bar_line_and_over_a_tie():
    """Common practice, no source."""
    bars = read(
        "clef.G", "key.1", "time.2/4",
        "note.8.1", "accidental.n", "note.8.1", "note.8.8", "note.8.1", "bar",
        "note.4.1", "accidental.s", "note.4.4", "tie", "bar",
        "note.4.4", "note.4.4", "bar",
    )  # fmt: skip
    pitches = [[n.pitch for n in bar.notes] for bar in bars]
    assert pitches == [[66, 65, 78, 65], [66, 72], [72, 71]]
    assert not any(bar.doubts for bar in bars)


@pytest.mark.parametrize(
    ("names", "doubt"),
    [
        (("note.4.1", "note.4.1", "note.4.1", "bar"), "length"),
        (("note.2.1", "chord", "bar"), "chord"),
        (("note.4.1", "tie", "note.4.3", "bar"), "tie"),
        (("accidental.s", "note.2.1", "accidental.s", "bar"), "uncertain"),
        (("dot", "note.2.1", "bar"), "uncertain"),
        (("rests", "digit.1", "bar"), "rests"),
    ],
)
def test_what_does_not_add_up_is_marked(names, doubt):
    whole = ("note.4.1", "note.4.1", "bar")
    bars = read("clef.G", "time.2/4", *whole, *names, *whole)
    assert [bar.doubts for bar in bars] == [(), (doubt,), ()]


def test_a_pick_up_and_a_bar_in_two_halves_are_no_mistakes():
    bars = read(
        "clef.F", "time.2/4", "note.8.1", "bar", "note.2.1", "bar", "note.4.2", "dot", "repeat.end",
        "note.8.2", "bar", "rest.1", "bar", "rests", "digit.1", "digit.2", "bar.final",
    )  # fmt: skip
    assert not any(bar.doubts for bar in bars)
    assert (len(bars), bars[-1].notes[0].beats) == (5 + 12, 2.0)


def test_a_staff_with_another_key_than_the_one_before_is_doubtful():
    state = assembling.PrintState()
    line = ("clef.G", "key.2", "note.1.1", "bar")
    assert not assembling.bars_of(seen(*line), state)[0].doubts
    assert not assembling.bars_of(seen(*line), state)[0].doubts
    assert assembling.bars_of(seen("clef.G", "note.1.1", "bar"), state)[0].doubts == ("signature",)
    assert "clef" in assembling.bars_of(seen("note.1.1", "bar"), state)[0].doubts


def test_a_symbol_nearly_seen_takes_confidence():
    chances = np.full((4, len(network.ALPHABET) + 1), 1e-9, np.float32)
    chances[:, 0] = 1
    chances[1, [0, 5]] = 0.6, 0.4
    chances[3, [0, 7]] = 0, 1
    [symbol] = network.decoded(chances)
    assert (symbol.name, round(symbol.confidence, 3)) == (network.ALPHABET[6], 0.6)


def png_of(width: int, height: int) -> bytes:
    """The head of a picture of so many pixels, and nothing else of it."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    rest = chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + rest


def blank() -> bytes:
    out = io.BytesIO()
    Image.new("L", (800, 600), 250).save(out, "PNG")
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (png_of(20_000, 20_000), "million pixels"),
        (png_of(9_000, 9_000), "9,000 by 9,000"),
        (png_of(30, 30), "only 30 by 30"),
        (png_of(900, 900), "broken"),
        (b"%PDF-1.7\n1 0 obj <<", "broken"),
        (b"GIF89a", "not a PDF"),
        (blank(), "no staves"),
    ],
    ids=["bomb", "large", "tiny", "half a picture", "half a PDF", "another kind", "blank"],
)
def test_what_cannot_be_read_is_refused_in_words(data, words):
    with pytest.raises(PassageError, match=words) as refused:
        read_page(data, 1, "page")
    assert refused.value.remedy


def test_a_page_that_is_not_there(engraved):
    with pytest.raises(PassageError, match="no page 3"):
        paper.page_of(engraved[1]["pdf"], 3)
