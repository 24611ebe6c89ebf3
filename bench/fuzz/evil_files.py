# ruff: noqa: E501 - tables of bytes
"""Files made to do harm: deep, huge, recursive, contradictory, or in encodings that are none."""

import io
import json
import struct
import zipfile
from functools import cache

BEGIN = '<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>x</part-name></score-part></part-list><part id="P1">'
END = "</part></score-partwise>"
BAR = (
    '<measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time>'
    "<clef><sign>G</sign><line>2</line></clef>{more}</attributes>{notes}</measure>"
)
NOTE = "<note><pitch><step>C</step><octave>{octave}</octave></pitch><duration>{duration}</duration><type>whole</type></note>"
LAUGHS = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10 if n else "lol"}">' for n in range(10))


def score(more: str = "", notes: str = NOTE.format(octave=4, duration=4), bars: int = 1) -> bytes:
    """A small score."""
    return (BEGIN + BAR.format(more=more, notes=notes) * bars + END).encode()


def mxl(text: bytes, name: str = "score.xml", method: int = zipfile.ZIP_DEFLATED) -> bytes:
    box = io.BytesIO()
    with zipfile.ZipFile(box, "w", method) as out:
        out.writestr(name, text)
    return box.getvalue()


def nested(tag: str, depth: int, inside: str = "", begin: str = "", end: str = "") -> bytes:
    return (begin + f"<{tag}>" * depth + inside + f"</{tag}>" * depth + end).encode()


MEI = '<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv><score><section>'
MEI_END = "</section></score></mdiv></body></music></mei>"


def _encoded(name: str) -> bytes:
    return score().replace(b'version="1.0"', f'version="1.0" encoding="{name}"'.encode(), 1)


@cache
def NOTATION() -> dict[str, bytes]:  # noqa: N802 - a table
    """By file name."""
    deep = {
        f"deep{d}{tag}.xml": nested(tag, d, begin=BEGIN, end=END)
        for d in (500, 2000, 20_000)
        for tag in ("measure", "note", "x")
    }
    deep |= {
        f"deep{d}.mei": nested(tag, d, begin=MEI, end=MEI_END)
        for d in (500, 2000, 20_000)
        for tag in ("measure", "layer", "beam", "section")
    }
    deep |= {f"plain{d}.xml": nested("a", d) for d in (500, 2000, 20_000)}
    encodings = {
        f"{name}.xml": _encoded(name)
        for name in ("punycode", "undefined", "idna", "utf-7", "utf-16", "utf-32", "rot13", "hex", "base64", "zlib", "bz2",
                     "unicode_escape", "raw_unicode_escape", "mbcs", "oem", "cp037", "x", "a" * 90, "utf_8_sig", "koi8-r", "latin-1")
    }  # fmt: skip
    transposed = {
        f"transposed{n}.xml": score(
            f"<transpose><chromatic>{n}</chromatic><octave-change>{o}</octave-change></transpose>"
        )
        for n, o in (
            (1_000_000, 0),
            (-1_000_000, 0),
            (0, 1_000_000),
            (10**30, 0),
            (200, 9),
            ("x", 0),
            ("1e9", 0),
        )
    }
    numbers = (
        {
            f"octave{o}.xml": score(notes=NOTE.format(octave=o, duration=4))
            for o in (-1, 9, 10, 99, 10**9, 10**30, "x")
        }
        | {
            f"duration{d}.xml": score(notes=NOTE.format(octave=4, duration=d))
            for d in (0, -4, 10**9, 10**30, "1e99", "nan", "x")
        }
        | {
            f"divisions{d}.xml": score().replace(b"<divisions>1<", f"<divisions>{d}<".encode())
            for d in (0, -1, 10**12, "x", "0.0001")
        }
        | {
            f"metre{a}-{b}.xml": score()
            .replace(b"<beats>4<", f"<beats>{a}<".encode())
            .replace(b"<beat-type>4<", f"<beat-type>{b}<".encode())
            for a, b in ((0, 4), (4, 0), (10**9, 1), (1, 10**9), (-4, 4), ("4+3", 8), ("x", 4))
        }
        | {
            f"fifths{n}.xml": score(f"<key><fifths>{n}</fifths></key>")
            for n in (99, -99, 10**9, "x")
        }
        | {f"staves{n}.xml": score(f"<staves>{n}</staves>") for n in (0, 99, 10**9)}
        | {
            f"tempo{n}.xml": score(
                notes=f'<direction><sound tempo="{n}"/></direction>'
                + NOTE.format(octave=4, duration=4)
            )
            for n in (0, -1, 1e-9, 10**12, "nan")
        }
    )
    repeats = '<barline location="left"><repeat direction="forward"/></barline>'
    back = '<barline location="right"><repeat direction="backward" times="{}"/></barline>'
    xml = {
        "laughs.xml": f"<!DOCTYPE score-partwise [{LAUGHS}]>".encode()
        + score().replace(b'<?xml version="1.0"?>', b"").replace(b">x<", b">&l9;<"),
        "outside.xml": b'<!DOCTYPE score-partwise [<!ENTITY e SYSTEM "file:///etc/passwd">]>'
        + score().replace(b'<?xml version="1.0"?>', b"").replace(b">x<", b">&e;<"),
        "network.xml": b'<!DOCTYPE score-partwise PUBLIC "-//x" "http://127.0.0.1:9/x.dtd">'
        + score().replace(b'<?xml version="1.0"?>', b""),
        "repeats.xml": score(
            notes=repeats + NOTE.format(octave=4, duration=4) + back.format(10**9)
        ),
        "repeats of repeats.xml": score(
            notes=repeats + NOTE.format(octave=4, duration=4) + back.format(999), bars=40
        ),
        "many bars.xml": score(bars=3000),
        "many notes in a bar.xml": score(notes=NOTE.format(octave=4, duration=1) * 8000),
        "attributes.xml": b"<score-partwise "
        + b" ".join(b"a%d='1'" % n for n in range(60_000))
        + b"/>",
        "long name.xml": b"<" + b"a" * 1_000_000 + b"/>",
        "no end.xml": BEGIN.encode(),
        "comment.xml": b"<!--" + b"-" * 1_000_000,
        "instructions.xml": b"<?x ?>" * 100_000 + score()[21:],
        "utf16.xml": score().decode().encode("utf-16"),
        "utf16 cut.xml": score().decode().encode("utf-16")[:-1],
        "bom.xml": b"\xef\xbb\xbf" + score(),
        "zeros.xml": b"<score-partwise>" + bytes(1000),
        "latin.xml": score().replace(b">x<", b">\xe9<"),
    }
    abc = {
        f"abc{n}.abc": text if isinstance(text, bytes) else text.encode()
        for n, text in enumerate((
            "X:1\nM:99/1\nK:C\nCDEF|\n", "X:1\nM:1/99\nK:C\nC|\n", "X:1\nM:0/4\nK:C\nC|\n", "X:1\nM:4/0\nK:C\nC|\n", "X:1\nL:1/0\nK:C\nC|\n",
            "X:1\nL:99999999/1\nK:C\nC|\n", "X:1\nM:C||\nK:C\nC|", "X:1\nQ:1/4=0\nK:C\nC|\n", "X:1\nQ:1/4=99999999999\nK:C\nC|\n",
            "X:1\nQ:1/0=60\nK:C\nC|\n", "X:1\nK:" + "C" * 5000 + "\nC|\n", "X:1\nK:C\n" + "C'" * 3000 + "|\n", "X:1\nK:C\nC" + "'" * 3000 + "|\n",
            "X:1\nK:C\nC" + "," * 3000 + "|\n", "X:1\nK:C\nC99999999999999999999|\n", "X:1\nK:C\nC/0|\n", "X:1\nK:C\nC" + "/" * 5000 + "|\n",
            "X:1\nK:C\n" + "(" * 5000 + "C|\n", "X:1\nK:C\n" + "[" * 5000 + "\n", "X:1\nK:C\n" + "{" * 5000 + "\n", "X:1\nK:C\n(99:99:99C|\n",
            "X:1\nK:C\n(0C|\n", "X:1\nK:C\n" + "|:C" * 400 + ":|" * 400 + "\n", "X:1\nK:C\n" + "C:|" * 2000, "X:1\nK:C\n[1C:|[2D|[999999999E|\n",
            "X:1\nK:C\n" + "!" * 5000 + "\n", "X:1\nK:C\n" + '"' * 5001 + "\n", "X:1\n" + "V:1\n" * 2000 + "K:C\nC|\n", "X:99999999999999999999\nK:C\nC|",
            "X:1\nK:C\n" + "C2>" * 3000 + "\n", "X:1\nm: ~n3 = n\nK:C\n~C3|\n", "X:1\n" + "U:T=!trill!\n" * 3000 + "K:C\nTC|\n",
            "X:1\nP:(A(B(C)9)9)9\nK:C\nP:A\nC|\n", "X:1\nP:" + "(" * 3000 + "A\nK:C\nC|\n", "X:1\nK:C transpose=1000000\nC|\n", "X:1\nK:C octave=1000000\nC|\n",
            "X:1\nK:C\n%%MIDI transpose 1000000\nC|\n", "X:1\nK:C\nC|\nw:" + "la-" * 5000 + "\n", "X:1\nK:C\n" + "C" * 100_000 + "\n", "K:C\n" + "\\\n" * 5000,
            "X:1\nK:C\n^" * 2000, b"X:1\nK:C\n\xff\xfe\x00C|", "X:1\nT:\u202e\nK:C\nC|\n", "X:1\nK:C\nZ9999999|\n", "X:1\nK:C\nX99999999|\n", "X:1\nK:C\nz0|\n",
        ))
    }  # fmt: skip
    return deep | encodings | transposed | numbers | xml | abc | _zips() | _midis() | _others()


def _zips() -> dict[str, bytes]:
    bomb = mxl(BEGIN.encode() + b"x" * 40_000_000)
    inner = mxl(BEGIN.encode() + b"x" * 1_000_000)
    for _ in range(3):
        inner = mxl(inner)
    liar = bytearray(mxl(score()))
    at = liar.find(b"PK\x01\x02")
    liar[at + 24 : at + 28] = struct.pack("<I", 10)
    many = io.BytesIO()
    with zipfile.ZipFile(many, "w") as out:
        for n in range(20_000):
            out.writestr(f"{n}.xml", b"")
    locked = bytearray(mxl(score()))
    locked[6] |= 1
    container = io.BytesIO()
    with zipfile.ZipFile(container, "w") as out:
        out.writestr(
            "META-INF/container.xml",
            b'<container><rootfile full-path="../../../../etc/passwd"/></container>',
        )
        out.writestr("s.xml", score())
    return {
        "bomb.mxl": bomb, "zips.mxl": inner, "liar.mxl": bytes(liar), "many.mxl": many.getvalue(), "locked.mxl": bytes(locked),
        "outside.mxl": container.getvalue(), "name.mxl": mxl(score(), "../../x.xml"), "cut.mxl": mxl(score())[:-10], "empty.mxl": b"PK\x05\x06" + bytes(18),
        "lzma.mxl": mxl(score(), method=zipfile.ZIP_LZMA), "deep.mxl": mxl(nested("note", 2000, begin=BEGIN, end=END)), "punycode.mxl": mxl(_encoded("punycode")),
    }  # fmt: skip


def _midi(*tracks: bytes, division: int = 480, kind: int = 1) -> bytes:
    head = b"MThd" + struct.pack(">IHHH", 6, kind, len(tracks), division)
    return head + b"".join(b"MTrk" + struct.pack(">I", len(t)) + t for t in tracks)


def _midis() -> dict[str, bytes]:
    end, on, off = b"\0\xff\x2f\0", b"\0\x90\x3c\x40", b"\x83\x60\x80\x3c\0"
    far = b"\xff\xff\xff\x7f"
    one = on + off
    return {
        "division 0.mid": _midi(one + end, division=0), "smpte.mid": _midi(one + end, division=0xE728), "tempo 0.mid": _midi(b"\0\xff\x51\x03\0\0\0" + one + end),
        "far.mid": _midi(on + far + b"\x80\x3c\0" + end), "very far.mid": _midi((far + b"\xff\x01\0") * 2000 + one + end), "many.mid": _midi(one * 30_000 + end),
        "stuck.mid": _midi(on * 3000 + end), "metre.mid": _midi(b"\0\xff\x58\x04\0\xff\0\0" + one + end), "metre big.mid": _midi(b"\0\xff\x58\x04\xff\x1f\0\0" + one + end),
        "key.mid": _midi(b"\0\xff\x59\x02\x7f\x7f" + one + end), "no end.mid": _midi(one), "no tracks.mid": _midi(), "tracks.mid": _midi(*[one + end] * 3000),
        "kind 9.mid": _midi(one + end, kind=9), "length.mid": b"MThd\xff\xff\xff\xff" + bytes(20), "track length.mid": _midi(one + end)[:18] + b"\xff\xff\xff\xff" + one,
        "sysex.mid": _midi(b"\0\xf0\xff\xff\xff\x7f" + one + end), "running.mid": _midi(b"\0\x3c\x40" * 2000 + end), "meta.mid": _midi(b"\0\xff\x03\xff\xff\xff\x7f" + end),
        "text.mid": _midi(b"\0\xff\x03\x03\xff\xfe\xfd" + one + end), "cut.mid": _midi(one + end)[:-3], "head.mid": b"MThd", "prefix.mid": b"RIFF\0\0\0\0RMIDdata\0\0\0\0" + _midi(one + end),
    }  # fmt: skip


def _others() -> dict[str, bytes]:
    return {
        "empty.xml": b"", "zero.abc": b"\0", "zeros.mei": bytes(100_000), "pdf.xml": b"%PDF-1.7", "picture.xml": b"\x89PNG\r\n\x1a\n", "html.xml": b"<html><body>score",
        "noise.xml": bytes(range(256)) * 1000, "name" * 80 + ".xml": score(), "../../up.xml": score(), "\u202elmx.exe": score(), "mei in xml.xml": MEI.encode(), "no root.mei": b"<mei/>",
        "oct.mei": (MEI + '<measure><staff n="1"><layer><note pname="c" oct="1000000" dur="4"/></layer></staff></measure>' + MEI_END).encode(),
        "dur.mei": (MEI + '<measure><staff n="1"><layer><note pname="c" oct="4" dur="0"/></layer></staff></measure>' + MEI_END).encode(),
        "trans.mei": (MEI.replace("<section>", '<scoreDef trans.semi="1000000"><staffGrp><staffDef n="1" lines="5" trans.semi="1000000"/></staffGrp></scoreDef><section>') + '<measure><staff n="1"><layer><note pname="c" oct="4" dur="4"/></layer></staff></measure>' + MEI_END).encode(),
    }  # fmt: skip


def _wav(
    rate: int = 8000,
    channels: int = 1,
    bits: int = 16,
    seconds: float = 0.2,
    kind: int = 1,
    **more: int,
) -> bytes:
    frame = max(channels * bits // 8, 1)
    data = bytes(min(int(rate * seconds) * frame, 2_000_000))
    head = struct.pack(
        "<IHHIIHH",
        16,
        kind,
        channels,
        rate,
        rate * frame & 0xFFFFFFFF,
        more.get("align", frame & 0xFFFF),
        bits,
    )
    size = more.get("size", len(data))
    return (
        b"RIFF"
        + struct.pack("<I", (36 + size) & 0xFFFFFFFF)
        + b"WAVEfmt "
        + head
        + b"data"
        + struct.pack("<I", size & 0xFFFFFFFF)
        + data
    )


@cache
def SOUNDS() -> dict[str, bytes]:  # noqa: N802 - a table
    """By file name."""
    sdp = b"v=0\r\no=- 0 0 IN IP4 127.0.0.1\r\ns=x\r\nc=IN IP4 239.1.2.3/4\r\nt=0 0\r\nm=audio 5004 RTP/AVP 97\r\na=rtpmap:97 L16/44100/2\r\n\0"
    made = {
        "sdp.wav": sdp, "hls.m4a": b"#EXTM3U\n#EXTINF:5,\nfile:///etc/passwd\n\0", "concat.wav": b"ffconcat version 1.0\nfile /etc/passwd\n\0",
        "empty.wav": b"", "text.wav": b"la la la" * 100, "riff.wav": b"RIFF", "zeros.wav": bytes(100_000), "noise.wav": bytes(range(256)) * 2000,
        "rate 0.wav": _wav(rate=0), "rate 1.wav": _wav(rate=1), "rate big.wav": _wav(rate=2**31), "channels 0.wav": _wav(channels=0), "channels.wav": _wav(channels=60_000),
        "bits 0.wav": _wav(bits=0), "bits 65535.wav": _wav(bits=65535), "promises.wav": _wav(size=2**32 - 1), "lies.wav": _wav(size=4), "kind.wav": _wav(kind=0x1234),
        "align.wav": _wav(align=0), "extensible.wav": _wav(kind=0xFFFE), "short.wav": _wav(seconds=0.0001), "silence.wav": _wav(seconds=2),
        "flac.flac": b"fLaC" + b"\x00\x00\x00\x22" + b"\xff" * 34 + bytes(1000), "blocks.flac": b"fLaC" + b"\x01\xff\xff\xff" * 50, "flac head.flac": b"fLaC\0\0\0\x22",
        "ogg.ogg": b"OggS" + bytes(2000), "ogg pages.ogg": (b"OggS\0\2" + bytes(20) + b"\1\x1e\1vorbis" + bytes(23)) * 200, "mp3.mp3": b"\xff\xfb\x94\xc4" + bytes(100_000),
        "id3.mp3": b"ID3\x04\0\0\x7f\x7f\x7f\x7f" + bytes(1000), "tags.mp3": b"ID3\x04\0\0\0\0\0\0" * 20_000, "mp4.m4a": b"\0\0\0\x10ftypM4A \0\0\0\0" + b"\0\0\0\x08moov" * 5000,
        "boxes.m4a": b"\0\0\0\x10ftypM4A \0\0\0\0" + b"\x7f\xff\xff\xffmoov\x7f\xff\xff\xfftrak", "nested.m4a": b"\0\0\0\x10ftypM4A \0\0\0\0" + b"".join(struct.pack(">I", 80_000 - 8 * n) + b"moov" for n in range(9000)),
        "webm.webm": b"\x1a\x45\xdf\xa3" + b"\xff" * 5000, "ebml.webm": b"\x1a\x45\xdf\xa3\x01" + bytes(7) + b"\x18\x53\x80\x67\x01" + b"\xff" * 7 + bytes(3000),
        "aiff.aiff": b"FORM\xff\xff\xff\xffAIFFCOMM\0\0\0\x12" + b"\xff" * 18, "caf.caf": b"caff\0\1\0\0desc" + b"\xff" * 100, "amr.amr": b"#!AMR\n" + bytes(50_000),
        "w64.w64": b"riff.\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\0\0" + b"\xff" * 200, "rf64.wav": b"RF64\xff\xff\xff\xffWAVEds64" + b"\xff" * 60,
    }  # fmt: skip
    return made | _midis()


@cache
def archives() -> dict[str, bytes]:
    """By file name: archives with something wrong inside, and what is no archive."""
    from fuzz_seeds import seeds_of

    whole = seeds_of("archive")[2]
    made = {
        "empty.zip": b"",
        "text.zip": b"x" * 100,
        "end.zip": b"PK\x05\x06" + bytes(18),
        "cut.zip": whole[:-30],
        "database.db": b"SQLite format 3\0" + bytes(5000),
    }
    with zipfile.ZipFile(io.BytesIO(whole)) as box:
        parts = {name: box.read(name) for name in box.namelist()}
    deep, lines = b"[" * 100_000, parts["log.jsonl"].splitlines()
    for name in ("manifest.json", "log.jsonl", "refused.jsonl"):
        for number, body in enumerate(
            (
                b"",
                b"null",
                b"[]",
                deep,
                b"{" * 100_000,
                b"\xff\xfe",
                b"9" * 5000,
                b'{"format":' + b"9" * 400 + b"}",
            )
        ):
            made[f"{name} {number}.zip"] = _packed(parts | {name: body})
    for number, (old, new) in enumerate(
        (
            (b'"at":"', b'"at":"9999-12-31T23:59:59Z","x":"'),
            (b'"day":"2', b'"day":"9'),
            (b'"id":"', b'"id":"../../'),
            (b'"kind":"', b'"kind":"x'),
        )
    ):
        made[f"line {number}.zip"] = _summed(
            parts | {"log.jsonl": b"\n".join(line.replace(old, new) for line in lines)}
        )
    made["twice.zip"] = _summed(parts | {"log.jsonl": parts["log.jsonl"] * 2})
    made["names.zip"] = _packed(
        parts | {"../../out.txt": b"x", "/etc/x": b"x", "takes/../../x.flac": b"x"}
    )
    made["bomb.zip"] = _packed(parts | {"log.jsonl": b"x" * 100_000_000})
    return made


def _packed(parts: dict[str, bytes]) -> bytes:
    box = io.BytesIO()
    with zipfile.ZipFile(box, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in parts.items():
            out.writestr(name, content)
    return box.getvalue()


def _summed(parts: dict[str, bytes]) -> bytes:
    import hashlib

    told = json.loads(parts["manifest.json"])
    told["sha256"] = {
        name: hashlib.sha256(parts[name]).hexdigest()
        for name in told.get("sha256", {})
        if name in parts
    }
    return _packed(parts | {"manifest.json": json.dumps(told).encode()})
