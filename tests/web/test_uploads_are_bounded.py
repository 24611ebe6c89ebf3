"""What is sent in costs a bounded amount, apart from the server, and is refused in words."""

import io
import struct
import zipfile

import numpy as np
import pytest
import soundfile
from desk import fault_of

from coldtake.listening import worker_client as hearing
from coldtake.music.notation import verovio_client
from coldtake.subprocesses import Limits, WorkerClient

LAUGHS = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10 if n else "lol"}">' for n in range(10))
BEGIN = '<score-partwise version="4.0">'


def mxl(text: bytes) -> bytes:
    box = io.BytesIO()
    with zipfile.ZipFile(box, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("score.xml", text)
    return box.getvalue()


def nested_mxl() -> bytes:
    """A zip within a zip within a zip: only the outermost is ever opened."""
    data = mxl(BEGIN.encode() + b"x" * 1_000_000)
    for _ in range(3):
        box = io.BytesIO()
        with zipfile.ZipFile(box, "w", zipfile.ZIP_DEFLATED) as out:
            out.writestr("score.xml", data)
        data = box.getvalue()
    return data


def entities(kind: str) -> bytes:
    return f"<!DOCTYPE score-partwise [{kind}]>{BEGIN}<part>&l9;</part></score-partwise>".encode()


NOTATION = {
    "zip bomb": (mxl(BEGIN.encode() + b"x" * 40_000_000), "larger than"),
    "zip in zip": (nested_mxl(), ""),
    "billion laughs": (entities(LAUGHS), "entities"),
    "file of this machine": (entities('<!ENTITY l9 SYSTEM "file:///etc/passwd">'), "entities"),
    "deep nest": (BEGIN.encode() + b"<part>" * 100_000, ""),
    "deep nest of MEI": (
        b'<mei xmlns="http://www.music-encoding.org/ns/mei">' + b"<a>" * 90_000,
        "",
    ),
    "one long line": (b"X:1\nK:C\n" + b"C" * 2_000_000, ""),
    "utf-16 laughs": (entities(LAUGHS).decode().encode("utf-16"), "entities"),
}


@pytest.mark.parametrize("name", NOTATION)
def test_notation(client, services, desk, name, monkeypatch):
    limits = Limits(seconds=8.0, memory_bytes=600_000_000)
    monkeypatch.setattr(verovio_client.WORKER, "limits", limits)
    data, words = NOTATION[name]
    made = desk.step(desk.topic())
    answer = client.post(f"/steps/{made.id}/passage", files={"file": ("evil.mxl", data)})
    assert answer.status_code == 422
    assert words in fault_of(answer)
    assert "passwd" not in answer.text
    assert "root:" not in answer.text
    assert services.state().passages == {}
    assert client.get("/").status_code == 200


def wav(seconds: float, rate: int = 8000) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, np.zeros(round(seconds * rate), np.int16), rate, format="WAV")
    return out.getvalue()


def claims(rate: int, channels: int = 1) -> bytes:
    """A small WAV that says of itself what cannot be."""
    data = bytearray(wav(0.1))
    data[22:24] = struct.pack("<H", channels)
    data[24:28] = struct.pack("<I", rate)
    return bytes(data)


SOUNDS = {
    "an hour": (wav(3600.0, 4000), "60 minutes long"),
    "two thousand million samples a second": (claims(2_000_000_000), "samples a second"),
    "one sample a second": (claims(1), "samples a second"),
    "sixty thousand channels": (claims(8000, 60_000), ""),
    "noise": (bytes(range(256)) * 4000, ""),
}


@pytest.mark.parametrize("name", SOUNDS)
def test_sounds(client, services, desk, name):
    data, words = SOUNDS[name]
    made = desk.step(desk.topic(), passage=True)
    answer = client.post(f"/steps/{made.id}/takes", files={"sound": ("take.wav", data)})
    assert answer.status_code == 422
    assert words in fault_of(answer)
    assert len(services.state().takes) == 0


def test_a_sound_that_takes_too_much_memory_is_given_up(client, services, desk, monkeypatch):
    small = WorkerClient(hearing.WORKER.module, Limits(seconds=30.0, memory_bytes=250_000_000))
    monkeypatch.setattr(hearing, "WORKER", small)
    made = desk.step(desk.topic(), passage=True)
    answer = client.post(
        f"/steps/{made.id}/takes", files={"sound": ("take.wav", wav(1000.0, 44_100))}
    )
    small.stop()
    assert answer.status_code == 422
    assert "too much memory" in fault_of(answer)
    assert len(services.state().takes) == 0
