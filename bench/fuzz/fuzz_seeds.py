"""Whole inputs from which mutated ones are made, per reader.

Sources: the corpus and the test files of music21 (M. S. Cuthbert and others), one MEI and one MIDI
file of partitura, the example's own pieces, sounds made here, and the open recordings of
`COLDTAKE_OPEN_DATA` where they are (vocadito, R. Bittner and others, 2021; TinySOL, C. E. Cella
and others, 2020).
"""

import io
import json
import os
import random
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
OPEN_DATA = Path(os.environ.get("COLDTAKE_OPEN_DATA", ROOT.parent / "shared" / "data"))
MOST_NOTATION = 7_000  # bytes of one seed: small ones are read in milliseconds
PARTS = 400


def _package(name: str) -> Path:
    spec = find_spec(name)
    assert spec is not None
    assert spec.origin is not None
    return Path(spec.origin).parent


def _files(folder: Path, pattern: str, most: int) -> list[bytes]:
    found = sorted(p for p in folder.rglob(pattern) if 0 < p.stat().st_size <= most)
    return [p.read_bytes() for p in found]


def musicxml() -> list[bytes]:
    folder = _package("music21")
    plain = _files(folder, "*.xml", MOST_NOTATION)
    small = sorted(folder.rglob("*.mxl"), key=lambda p: p.stat().st_size)[:12]
    packed = [p.read_bytes() for p in small]
    return plain + packed + [_mxl(plain[0]), _mxl(plain[1])]


def _mxl(score: bytes) -> bytes:
    box = io.BytesIO()
    container = b'<container><rootfiles><rootfile full-path="s.xml"/></rootfiles></container>'
    with zipfile.ZipFile(box, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("META-INF/container.xml", container)
        out.writestr("s.xml", score)
    return box.getvalue()


def abc() -> list[bytes]:
    from coldtake.demo.material import MATERIAL

    stored = (m.stored() for m in MATERIAL)
    own = [s.text.encode() for s in stored if s.format == "abc"]
    return own + _files(_package("music21"), "*.abc", 1_500)[:PARTS]


def mei() -> list[bytes]:
    from coldtake.errors import PassageError
    from coldtake.music.notation.reading.reader import read_passage

    own = []
    for text in abc()[:40]:
        try:
            own.append(read_passage(text.decode("latin-1"), "abc").mei.encode())
        except PassageError:
            continue
    theirs = _files(_package("music21"), "*.mei", 30_000)
    return [t for t in own if len(t) < MOST_NOTATION] + theirs


def midi() -> list[bytes]:
    theirs = _files(_package("music21"), "*.mid", 6_000)
    return theirs + _files(_package("partitura"), "*.mid", 6_000) + [_scale_midi(k) for k in (0, 1)]


def _scale_midi(kind: int) -> bytes:
    import mido

    file = mido.MidiFile(type=kind, ticks_per_beat=480)
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("set_tempo", tempo=500_000))
    track.append(mido.MetaMessage("time_signature", numerator=3, denominator=4))
    for key in (60, 62, 64, 65, 67):
        track.append(mido.Message("note_on", note=key, velocity=80, time=0))
        track.append(mido.Message("note_off", note=key, velocity=0, time=480))
    file.tracks.append(track)
    box = io.BytesIO()
    file.save(file=box)
    return box.getvalue()


def audio() -> list[bytes]:
    made = [_sound(*how) for how in _SOUNDS]
    made += [_with_av(*how) for how in _PHONES]
    return made + [p.read_bytes()[:60_000] for p in sorted(OPEN_DATA.rglob("*.wav"))]


_SOUNDS = (
    ("WAV", "PCM_16", 44_100, 1),
    ("WAV", "PCM_24", 96_000, 2),
    ("WAV", "FLOAT", 48_000, 1),
    ("FLAC", "PCM_16", 22_050, 2),
    ("OGG", "VORBIS", 44_100, 1),
    ("OGG", "OPUS", 48_000, 1),
    ("MP3", "MPEG_LAYER_III", 44_100, 1),
    ("AIFF", "PCM_16", 11_025, 1),
    ("CAF", "ALAC_16", 44_100, 1),
)
_PHONES = (("mp4", "aac"), ("webm", "libopus"), ("matroska", "pcm_s16le"), ("adts", "aac"))


def _tone(rate: int, channels: int) -> np.ndarray:
    t = np.arange(rate // 5) / rate
    wave = 0.3 * np.sin(2 * np.pi * 440 * t) + 0.02 * np.random.default_rng(1).normal(size=len(t))
    return np.repeat(wave[:, None], channels, axis=1).astype(np.float32)


def _sound(form: str, subtype: str, rate: int, channels: int) -> bytes:
    import soundfile

    box = io.BytesIO()
    soundfile.write(box, _tone(rate, channels), rate, format=form, subtype=subtype)
    return box.getvalue()


def _with_av(form: str, codec: str) -> bytes:
    import av

    box = io.BytesIO()
    with av.open(box, "w", format=form) as out:
        stream = out.add_stream(codec, rate=48_000)
        wave = np.ascontiguousarray(_tone(48_000, 1).T)
        frame = av.AudioFrame.from_ndarray(wave, format="fltp", layout="mono")
        frame.rate = 48_000
        for packet in (*stream.encode(frame), *stream.encode(None)):
            out.mux(packet)
    return box.getvalue()


def chords() -> list[bytes]:
    """Charts put together from roots, kinds and signs that are in use, right and wrong."""
    rng = random.Random(3)
    return [" ".join(_chart(rng, n)).encode() for n in range(120)]


def _chart(rng: random.Random, number: int) -> Iterator[str]:
    for bar in range(rng.choice((1, 4, 12))):
        yield rng.choice(("|", "|", "|", "|:", "||", ":|")) if number % 9 else ""
        if bar and rng.random() < 0.1:
            yield "%"
            continue
        for _ in range(rng.choice((1, 1, 2, 4))):
            bass = f"/{rng.choice(_ROOTS)}" if rng.random() < 0.1 else ""
            yield rng.choice((f"{rng.choice(_ROOTS)}{rng.choice(_KINDS)}{bass}",) * 9 + ("N.C.",))
    yield "|"


_ROOTS = ["C", "D♭", "Eb", "F#", "G", "A", "B♭", "Cb"]
_KINDS = (  # noqa: SIM905 - four times as long as a list
    "|m|7|m7|maj7|Δ|ø7|m7b5|dim7|o|+|aug|6|m6|6/9|9|m9|11|13|13b9|7alt|7#9b13|sus4|7sus4|sus2|add9|"
    "5|maj9|m(maj7)|7(b9,#11)|no3|omit5|-7|min7"
).split("|")


def events() -> list[bytes]:
    return [json.dumps(one).encode() for one in _events()]


def _events() -> Iterator[object]:
    at = datetime(2027, 1, 12, 17, tzinfo=UTC).isoformat()
    base = "0190163d-8694-739b-aea5-966c26f8ad{:02x}"
    session, slot, step = (base.format(n) for n in (1, 2, 3))
    about = {"session_id": session, "slot_id": slot, "step_id": step}
    bodies = (
        {"kind": "intention_set", "session_id": session, "slot_id": slot, "words": "Lightly."},
        {"kind": "slot_started", **about, "planned_s": 480.0},
        {"kind": "slot_ended", **about, "played_s": 301.5, "early": True},
        {"kind": "break_started", "session_id": session, "after_period": 0, "planned_s": 300.0},
        {"kind": "break_ended", "session_id": session, "after_period": 0},
        {"kind": "try_answered", "try_id": base.format(9), "answer": "yes", "judge": "player",
         **about},
        {"kind": "answer_taken_back", "try_id": base.format(9)},
        {"kind": "session_ended", "session_id": session, "note": "Good.", "early": False},
    )  # fmt: skip
    made = [
        {"id": base.format(32 + n), "at": at, "day": "2027-01-12", "data": body}
        for n, body in enumerate(bodies)
    ]
    yield made
    yield from ([one] for one in made)
    yield {"day": "2027-01-12"}


def archive() -> list[bytes]:
    """Archives of a small log: empty, with topics and passages, with a take and a session."""
    with tempfile.TemporaryDirectory() as folder:
        return [_archived(Path(folder) / str(n), n) for n in range(3)]


def _archived(folder: Path, much: int) -> bytes:
    from coldtake.bootstrap import open_services
    from coldtake.demo.material import MATERIAL
    from coldtake.domain.criterion import Criterion, NotesTest
    from coldtake.domain.take import NewTake
    from coldtake.domain.topic import Exercise, PassageRef, Place, Step
    from coldtake.practice.archive import export

    services = open_services(folder)
    if much:
        topic = services.pile.add("Air", place=Place.CURRENT)
        stored = services.pile.keep_passage(MATERIAL[1].stored().text.encode(), "run.abc")
        step = Step(
            id=services.log.new_id(),
            topic_id=topic.id,
            title="The run",
            criterion=Criterion(tests=(NotesTest(),)),
            exercise=Exercise(passage=PassageRef(passage_id=stored.id)),
        )
        services.pile.keep_step(step)
        if much > 1:
            services.sessions.start()
            services.takes.keep(_sound("WAV", "PCM_16", 8_000, 1), NewTake(step_id=step.id))
    services.sessions.record([json.dumps(one).encode() for one in next(_events())])  # type: ignore[attr-defined]
    export(services, folder / "all.zip")
    services.close()
    return (folder / "all.zip").read_bytes()


SEEDS: dict[str, Callable[[], list[bytes]]] = {
    "musicxml": musicxml,
    "abc": abc,
    "archive": archive,
    "mei": mei,
    "midi": midi,
    "audio": audio,
    "chords": chords,
    "events": events,
}


@cache
def seeds_of(reader: str) -> tuple[bytes, ...]:
    return tuple(SEEDS[reader]())
