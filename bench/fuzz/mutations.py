"""Seeded damage: the same reader and number always give the same bytes."""

import hashlib
import io
import json
import random
import re
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Callable, Sequence

MOST = 60_000  # bytes of one input
_WORDS = re.compile(rb"[A-Za-z_]+|\d+|[^A-Za-z_\d\s]")
_ODD = (
    b"", b"0", b"-1", b"1", b"99999999999999999999", b"1e308", b"nan", b"\x00", b"\xff\xfe",
    b"\xed\xa0\x80", "♭𝄫é".encode(), b"%s%n", b"<", b"&lt;", b"]]>", b"\r\n", b"../../x", b"'",
    b"9" * 400, b"(" * 300, b"[" * 300, b"|:" * 50, b"<a>" * 200, b"2147483648", b"1/0", b"0/0",
)  # fmt: skip
_NUMBERS = (0, 1, 0x7F, 0x80, 0xFF, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF)

Mutation = Callable[[random.Random, bytes, Sequence[bytes]], bytes]


def mutant(seeds: Sequence[bytes], reader: str, number: int) -> bytes:
    """The input of this number: one seed, damaged one to four times."""
    rng = random.Random(f"{reader} {number}")
    data = rng.choice(seeds)
    for _ in range(rng.choice((1, 1, 2, 4))):
        kinds = STRUCTURED.get(reader, MUTATIONS) if rng.random() < 0.8 else MUTATIONS
        data = rng.choice(kinds)(rng, data, seeds)[:MOST]
    return data


def flip(rng: random.Random, data: bytes, _seeds: Sequence[bytes]) -> bytes:
    """Some bits the other way round."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 3, 12)) if out else 0):
        out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    return bytes(out)


def cut(rng: random.Random, data: bytes, _seeds: Sequence[bytes]) -> bytes:
    """The end is missing."""
    return data[: rng.randrange(len(data) + 1)]


def hole(rng: random.Random, data: bytes, _seeds: Sequence[bytes]) -> bytes:
    """A stretch is missing."""
    a, b = sorted(rng.randrange(len(data) + 1) for _ in range(2))
    return data[:a] + data[b:]


def splice(rng: random.Random, data: bytes, seeds: Sequence[bytes]) -> bytes:
    """The beginning of one, the end of another."""
    other = rng.choice(seeds)
    return data[: rng.randrange(len(data) + 1)] + other[rng.randrange(len(other) + 1) :]


def again(rng: random.Random, data: bytes, _seeds: Sequence[bytes]) -> bytes:
    """A stretch stands there many times."""
    a = rng.randrange(len(data) + 1)
    part = data[a : a + rng.choice((1, 8, 64, 512))]
    return data[:a] + part * rng.choice((2, 5, 40)) + data[a:]


def odd(rng: random.Random, data: bytes, _seeds: Sequence[bytes]) -> bytes:
    """Something nobody expects is put in."""
    a = rng.randrange(len(data) + 1)
    return data[:a] + rng.choice(_ODD) + data[a + rng.choice((0, 0, 1, 4)) :]


def word(rng: random.Random, data: bytes, seeds: Sequence[bytes]) -> bytes:
    """One word or number becomes another: of the same text, of another, or an odd one."""
    found = list(_WORDS.finditer(data[:MOST]))
    if not found:
        return odd(rng, data, seeds)
    one = rng.choice(found)
    others = _WORDS.findall(rng.choice(seeds)[:MOST]) or [b""]
    new = rng.choice((rng.choice(found)[0], rng.choice(others), rng.choice(_ODD)))
    return data[: one.start()] + new + data[one.end() :]


def lines(rng: random.Random, data: bytes, _seeds: Sequence[bytes]) -> bytes:
    """Two lines, or two elements, change places."""
    between = b"\n" if b"\n" in data else b">"
    parts = data.split(between)
    a, b = rng.randrange(len(parts)), rng.randrange(len(parts))
    parts[a], parts[b] = parts[b], parts[a]
    return between.join(parts)


def number(rng: random.Random, data: bytes, _seeds: Sequence[bytes]) -> bytes:
    """A binary number becomes an extreme one."""
    width, order = rng.choice((1, 2, 4)), rng.choice(("big", "little"))
    if len(data) < width:
        return data
    at = rng.randrange(min(len(data) - width + 1, rng.choice((64, 1 << 20))))
    value = rng.choice(_NUMBERS) & (256**width - 1)
    return data[:at] + value.to_bytes(width, order) + data[at + width :]  # type: ignore[arg-type]


MUTATIONS: tuple[Mutation, ...] = (
    flip, cut, hole, splice, again, odd, word, word, word, lines, number,
)  # fmt: skip


def tree(rng: random.Random, data: bytes, seeds: Sequence[bytes]) -> bytes:
    """Well-formed XML with elements missing, doubled, swapped, moved, or saying something else."""
    try:
        root = ET.fromstring(data)
    except (ET.ParseError, LookupError, ValueError):
        return word(rng, data, seeds)
    parents = [e for e in root.iter() if len(e)]
    for _ in range(rng.choice((1, 1, 2, 6)) if parents else 0):
        _TREE[rng.randrange(len(_TREE))](rng, rng.choice(parents), rng.choice(parents))
    return ET.tostring(root)


def _remove(rng: random.Random, one: ET.Element, _other: ET.Element) -> None:
    at = rng.randrange(len(one) + 1)
    del one[at : at + rng.choice((1, 1, 3))]


def _copy(rng: random.Random, one: ET.Element, other: ET.Element) -> None:
    """Into another place; never into itself, or the tree would be a ring."""
    if len(one):
        part = ET.fromstring(ET.tostring(one[rng.randrange(len(one))]))
        other.insert(rng.randrange(len(other) + 1), part)


def _shuffle(rng: random.Random, one: ET.Element, _other: ET.Element) -> None:
    parts = list(one)
    rng.shuffle(parts)
    one[:] = parts


def _say(rng: random.Random, one: ET.Element, other: ET.Element) -> None:
    """A text or an attribute becomes a number, a word of elsewhere, or nothing."""
    words = [e.text or "" for e in other.iter()]
    values = ("0", "-1", "1", "2", "7", "1000000000", "0.3333", "", "x", *rng.sample(words, 1))
    leaf = rng.choice(list(one.iter()))
    if leaf.attrib and rng.random() < 0.5:
        name = rng.choice(sorted(leaf.attrib))
        leaf.set(name, rng.choice((*values, *leaf.attrib.values())))
    else:
        leaf.text = rng.choice(values)


def _rename(rng: random.Random, one: ET.Element, other: ET.Element) -> None:
    rng.choice(list(one.iter())).tag = rng.choice(list(other.iter())).tag


_TREE = (_remove, _copy, _shuffle, _say, _say, _say, _rename)


def packed(rng: random.Random, data: bytes, seeds: Sequence[bytes]) -> bytes:
    """A zip with one of its files changed; half of the time with a checksum that fits."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as box:
            files = {name: box.read(name) for name in box.namelist()}
    except Exception:  # noqa: BLE001 - damaged before: then only its bytes can be changed
        return flip(rng, data, seeds)
    name = rng.choice(sorted(files, key=lambda n: (n not in _CHIEF, n))[: rng.choice((3, 99))])
    files[name] = rng.choice((word, word, lines, odd, cut, flip))(rng, files[name], seeds)
    if rng.random() < 0.5:
        _sum_again(files)
    if rng.random() < 0.1:
        files[rng.choice(("../out.txt", "/etc/x", "takes/a\\b.flac", "x" * 300))] = b"x"
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as box:
        for other, content in files.items():
            box.writestr(other, content)
    return out.getvalue()


def _sum_again(files: dict[str, bytes]) -> None:
    try:
        told = json.loads(files["manifest.json"])
        told["sha256"] = {n: hashlib.sha256(files[n]).hexdigest() for n in told["sha256"]}
    except (ValueError, KeyError, TypeError):
        return
    files["manifest.json"] = json.dumps(told).encode()


_CHIEF = ("log.jsonl", "manifest.json", "refused.jsonl")
_XML: tuple[Mutation, ...] = (tree, tree, tree, word)
STRUCTURED: dict[str, tuple[Mutation, ...]] = {"musicxml": _XML, "mei": _XML, "archive": (packed,)}
