"""Inputs that once got through with something else than a readable refusal, made small.

Found by `bench/fuzz/run.py`; `bench/RESULTS.md` says how many inputs were tried.
"""

import io
import zipfile

import av
import mido
import numpy as np
import pytest

from coldtake.errors import PassageError, SoundError
from coldtake.listening.sources.sound import read_sound
from coldtake.music.midi.reader import read_midi
from coldtake.music.notation.reading.reader import unpack


def mxl() -> bytearray:
    box = io.BytesIO()
    with zipfile.ZipFile(box, "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("score.xml", "<score-partwise>" + "".join(map(str, range(400))))
    return bytearray(box.getvalue())


def test_a_compressed_score_whose_data_is_damaged():
    """It raised zlib.error."""
    data = mxl()
    data[45] ^= 0xFF
    with pytest.raises(PassageError, match="damaged"):
        unpack(bytes(data), "a.mxl")


def test_a_compressed_score_whose_list_points_before_its_beginning():
    """It raised ValueError: negative seek value."""
    data = mxl()
    entry = data.find(b"PK\x01\x02")
    data[entry + 42 : entry + 46] = b"\xff\xff\xff\x7f"
    with pytest.raises(PassageError, match="damaged"):
        unpack(bytes(data), "a.mxl")
    data = mxl()
    end = data.find(b"PK\x05\x06")
    data[end + 12 : end + 16] = b"\x00\x00\x00\x00"
    with pytest.raises(PassageError, match="damaged"):
        unpack(bytes(data), "a.mxl")


def test_a_container_with_sound_of_an_unknown_kind():
    """It raised AttributeError."""
    box = io.BytesIO()
    with av.open(box, "w", format="webm") as out:
        stream = out.add_stream("libopus", rate=48_000)
        wave = np.zeros((1, 4800), np.float32)
        frame = av.AudioFrame.from_ndarray(wave, format="fltp", layout="mono")
        frame.rate = 48_000
        for packet in (*stream.encode(frame), *stream.encode(None)):
            out.mux(packet)
    data = box.getvalue().replace(b"A_OPUS", b"A_NONE")
    with pytest.raises(SoundError) as caught:
        read_sound(data, "take.webm")
    assert caught.value.remedy


@pytest.mark.parametrize(("rate", "channels"), [(1, 1), (900_000, 1), (48_000, 40)])
def test_a_rate_or_number_of_channels_that_no_recording_has(rate, channels):
    import soundfile

    out = io.BytesIO()
    soundfile.write(out, np.zeros((64, channels), np.float32), rate, format="WAV")
    with pytest.raises(SoundError, match=r"samples a second|channels"):
        read_sound(out.getvalue(), "take.wav")


def test_a_midi_file_in_a_key_that_is_none():
    """It raised mido's KeySignatureError."""
    track = mido.MidiTrack([mido.MetaMessage("key_signature", key="C")])
    file = mido.MidiFile(tracks=[track])
    out = io.BytesIO()
    file.save(file=out)
    with pytest.raises(PassageError, match="damaged"):
        read_midi(out.getvalue().replace(b"\xff\x59\x02\x00\x00", b"\xff\x59\x02\x2e\x2f"), "a.mid")
