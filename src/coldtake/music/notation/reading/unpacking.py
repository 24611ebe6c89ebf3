"""The bytes of a file to notation text, with limits and a message for everything that is not."""

import codecs
import io
import re
import xml.etree.ElementTree as ET
import zipfile
import zlib

from coldtake.errors import PassageError
from coldtake.music.midi.page import midi_page
from coldtake.music.midi.reader import is_midi

MOST_BYTES = 30_000_000  # of text: some 200 pages of a score as MusicXML
_PRINT = "Printed music is read on the page “Import notation”. Choose it here after that."
_OTHERS = (
    (b"%PDF", "a PDF", _PRINT),
    (b"\x89PNG", "a picture", _PRINT),
    (b"\xff\xd8\xff", "a picture", _PRINT),
    (b"RIFF", "a sound file", "Upload it as a take; a passage is written music."),
    (b"fLaC", "a sound file", "Upload it as a take; a passage is written music."),
    (b"OggS", "a sound file", "Upload it as a take; a passage is written music."),
    (b"ID3", "a sound file", "Upload it as a take; a passage is written music."),
)
# Names of Python's codecs for what text is written in; it has others, which compress or compute.
_TEXT = re.compile(
    r"ascii|utf-(16|32)([_-][bl]e)?|iso8859-\d+|cp\d+|koi8-[rtu]|mac-\w+|shift_jis\w*|euc_\w+|"
    r"gb2312|gbk|gb18030|big5\w*"
)
_ROOT = re.compile(r"<(?:\w+:)?(score-partwise|score-timewise|mei|opus|html)\b", re.IGNORECASE)


def unpack(data: bytes, filename: str = "") -> tuple[str, str]:
    """Format ("musicxml", "mei" or "abc") and text of a file; raises PassageError.

    A MIDI file with one part is quantised on the usual grid, and comes as ABC (`midi_page`).
    """
    if not data:
        raise PassageError("the file is empty.", where=filename, remedy="Choose another file.")
    if len(data) > MOST_BYTES:
        raise too_large(filename)
    if is_midi(data):
        return "abc", midi_page(data, filename).abc
    for head, what, remedy in _OTHERS:
        if data.startswith(head):
            raise PassageError(f"this is {what}, not notation.", where=filename, remedy=remedy)
    if data.startswith(b"PK"):
        data = _from_mxl(data, filename)
    text = _decode(data, filename)
    return _format_of(text, filename), text


def too_large(filename: str) -> PassageError:
    """The refusal of a file past the limit."""
    return PassageError(
        f"the file is larger than {MOST_BYTES // 1_000_000} MB.",
        where=filename,
        remedy="Cut out the passage that you work on and export that.",
    )


def _from_mxl(data: bytes, filename: str) -> bytes:
    """The score inside a compressed MusicXML file, read no further than the limit."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as box:
            name = _score_name(box)
            with box.open(name) as file:
                text = file.read(MOST_BYTES + 1)
    except (
        zipfile.BadZipFile,
        KeyError,
        RuntimeError,
        NotImplementedError,
        OSError,
        EOFError,
        ValueError,  # a place before the file's beginning
        zlib.error,
    ) as e:
        raise PassageError(
            "the compressed file is damaged or is not compressed MusicXML.",
            where=filename,
            remedy="Export it again, or export it uncompressed.",
        ) from e
    if len(text) > MOST_BYTES:
        raise too_large(filename)
    return text


def _score_name(box: zipfile.ZipFile) -> str:
    """Name of the score that META-INF/container.xml points to, or the first that looks like one."""
    names = [n for n in box.namelist() if not n.startswith("META-INF/")]
    if "META-INF/container.xml" in box.namelist():
        with box.open("META-INF/container.xml") as file:
            found = re.search(rb'full-path\s*=\s*["\']([^"\']+)["\']', file.read(65_536))
        if found and found[1].decode("utf-8", "replace") in names:
            return found[1].decode("utf-8", "replace")
    scores = [n for n in names if n.lower().endswith((".musicxml", ".xml"))]
    if not scores:
        raise KeyError("no score")
    return scores[0]


def _decode(data: bytes, filename: str) -> str:
    try:
        text = data.decode(_encoding(data))
    except UnicodeDecodeError as error:
        if b"\x00" in data[:4096]:
            raise PassageError(
                "this is not text.", where=filename, remedy="Use MusicXML, MEI or ABC."
            ) from error
        text = data.decode("latin-1")
    if "\x00" in text:
        raise PassageError("this is not text.", where=filename, remedy="Use MusicXML, MEI or ABC.")
    return text


def _encoding(data: bytes) -> str:
    """The encoding that a file declares, where it is one for text; UTF-8 else."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    declared = re.match(rb'\s*<\?xml[^>]*encoding=["\']([\w.-]+)', data[:200])
    try:
        name = codecs.lookup(declared[1].decode("ascii")).name if declared else ""
    except (LookupError, UnicodeError):
        name = ""
    return name if _TEXT.fullmatch(name) else "utf-8-sig"


def _format_of(text: str, filename: str) -> str:
    if not text.strip():
        raise PassageError("the file is empty.", where=filename, remedy="Choose another file.")
    if text.lstrip().startswith("<"):
        return _xml_format(text, filename)
    if re.search(r"^[XK]:", text, re.MULTILINE) or filename.lower().endswith(".abc"):
        return "abc"
    raise PassageError(
        "this is neither MusicXML, MEI nor ABC.",
        where=filename,
        remedy="ABC needs at least a line such as “K:C” before the notes.",
    )


def _xml_format(text: str, filename: str) -> str:
    found = _ROOT.search(text)
    root = found[1].lower() if found else ""
    if root in ("score-partwise", "score-timewise"):
        return "musicxml"
    if root == "mei":
        return "mei"
    try:
        ET.fromstring(text)
    except ET.ParseError as error:
        raise PassageError(
            f"the XML is broken: {error}.", where=filename, remedy="Export the passage again."
        ) from error
    raise PassageError(
        "this XML is neither MusicXML nor MEI.",
        where=filename,
        remedy="Export the passage as MusicXML.",
    )
