"""Reading recordings: every format and every bad file has its own answer."""

import io
import struct

import av
import numpy as np
import pytest
import soundfile

from coldtake.errors import SoundError
from coldtake.listening.sources.sound import LONGEST_S, Sound, read_sound, to_flac


def tone(rate: int, seconds: float = 1.0, hz: float = 440.0) -> np.ndarray:
    return (0.3 * np.sin(2 * np.pi * hz * np.arange(int(rate * seconds)) / rate)).astype(np.float32)


def as_file(samples: np.ndarray, rate: int, kind: str = "WAV", subtype: str | None = None) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, samples, rate, format=kind, subtype=subtype)
    return out.getvalue()


def as_phone_file(samples: np.ndarray, rate: int, container: str, codec: str) -> bytes:
    out = io.BytesIO()
    with av.open(out, "w", format=container) as file:
        stream = file.add_stream(codec, rate=rate)
        stream.layout = "mono"
        frame = av.AudioFrame.from_ndarray(samples[None, :], format="fltp", layout="mono")
        frame.sample_rate = rate
        for packet in (*stream.encode(frame), *stream.encode(None)):
            file.mux(packet)
    return out.getvalue()


def loudest_hz(sound: Sound) -> float:
    spectrum = np.abs(np.fft.rfft(sound.samples * np.hanning(len(sound.samples))))
    return float(np.argmax(spectrum)) * sound.rate / len(sound.samples)


@pytest.mark.parametrize(
    ("kind", "subtype"),
    [
        ("WAV", "PCM_16"), ("WAV", "PCM_24"), ("WAV", "FLOAT"), ("FLAC", "PCM_16"),
        ("OGG", "VORBIS"), ("MP3", None),
    ],
)  # fmt: skip
def test_reads_what_libsndfile_reads(kind, subtype):
    sound = read_sound(as_file(tone(44_100), 44_100, kind, subtype), "a")
    assert sound.rate == 44_100
    assert sound.duration_s == pytest.approx(1.0, abs=0.08)
    assert loudest_hz(sound) == pytest.approx(440.0, abs=2.0)


@pytest.mark.parametrize(
    ("container", "codec"),
    [("mp4", "aac"), ("ipod", "alac"), ("mov", "pcm_s16le"), ("adts", "aac"), ("webm", "libopus"),
     ("caf", "alac"), ("mp3", "libmp3lame")],
)  # fmt: skip
def test_reads_what_phones_and_browsers_make(container, codec):
    sound = read_sound(as_phone_file(tone(48_000), 48_000, container, codec), "take")
    assert sound.duration_s == pytest.approx(1.0, abs=0.1)
    assert loudest_hz(sound) == pytest.approx(440.0, abs=2.0)


def test_an_mp3_with_a_spoilt_frame_and_a_tag_at_its_end_is_read():
    data = bytearray(as_file(tone(44_100, 4.0), 44_100, "MP3"))
    data[len(data) // 2 : len(data) // 2 + 60] = bytes(60)
    sound = read_sound(bytes(data) + b"TAG" + bytes(125))
    assert sound.duration_s == pytest.approx(4.0, abs=0.2)
    assert loudest_hz(sound) == pytest.approx(440.0, abs=2.0)


def test_mixes_stereo_and_says_so_when_the_channels_differ():
    left, right = tone(44_100, hz=440.0), tone(44_100, hz=300.0)
    same = read_sound(as_file(np.column_stack([left, left]), 44_100))
    other = read_sound(as_file(np.column_stack([left, right]), 44_100))
    assert same.remarks == ()
    assert "channels differ" in other.remarks[0]
    assert other.samples == pytest.approx((left + right) / 2, abs=1e-4)


def test_96_khz_24_bit_stereo_comes_down_to_48_khz():
    both = np.column_stack([tone(96_000)] * 2)
    sound = read_sound(as_file(both, 96_000, subtype="PCM_24"))
    assert sound.rate == 48_000
    assert sound.duration_s == pytest.approx(1.0, abs=0.01)
    assert loudest_hz(sound) == pytest.approx(440.0, abs=2.0)


def test_8_khz_mono_works_and_says_that_it_is_limited():
    sound = read_sound(as_file(tone(8_000), 8_000))
    assert sound.rate == 8_000
    assert "8 kHz" in sound.remarks[0]


def test_samples_beyond_full_scale_are_scaled_not_cut():
    sound = read_sound(as_file(tone(44_100) * 10, 44_100, subtype="FLOAT"))
    assert np.abs(sound.samples).max() == pytest.approx(1.0)
    assert loudest_hz(sound) == pytest.approx(440.0, abs=2.0)


def test_flac_keeps_every_24_bit_sample():
    samples = np.round(tone(44_100) * 2**23) / 2**23
    sound = Sound(samples.astype(np.float32), 44_100)
    again = read_sound(to_flac(sound), "take.flac")
    assert again.rate == 44_100
    assert np.array_equal(again.samples, sound.samples)


def test_reads_from_a_path(tmp_path):
    path = tmp_path / "take.wav"
    path.write_bytes(as_file(tone(44_100), 44_100))
    assert read_sound(path).duration_s == pytest.approx(1.0)


def cut_header() -> bytes:
    return as_file(tone(44_100), 44_100)[:30]


def no_samples() -> bytes:
    return as_file(np.zeros(0, np.float32), 44_100)


def with_nan() -> bytes:
    samples = tone(44_100)
    samples[1000] = np.nan
    return as_file(samples, 44_100, subtype="FLOAT")


def too_long() -> bytes:
    """A WAV whose 40 minutes at 8 kHz are really there."""
    size = 8_000 * 2400
    head = b"RIFF" + struct.pack("<I", 36 + size) + b"WAVEfmt "
    head += (
        struct.pack("<IHHIIHH", 16, 1, 1, 8_000, 8_000, 1, 8) + b"data" + struct.pack("<I", size)
    )
    return head + b"\x80" * size


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "the file is empty"),
        (b"I would like to practise.\n" * 50, "text file, not a recording"),
        (b"MThd\0\0\0\6\0\0\0\1\1\xe0MTrk\0\0\0\4\0\xff\x2f\0", "MIDI file"),
        (as_file(tone(44_100), 44_100)[:30_000], r"cut short: 0\.3 s of 1\.0 s"),
        (as_file(tone(44_100), 44_100, "FLAC")[:4_000], "cut short|cannot be read"),
        (cut_header(), "ends before its sound begins"),
        (no_samples(), "holds no sound"),
        (with_nan(), "not numbers"),
        (too_long(), f"40 minutes long; up to {LONGEST_S / 60:.0f} minutes"),
        (bytes(range(256)) * 40, "not of a kind of recording that can be read"),
        (as_phone_file(tone(48_000), 48_000, "mp4", "aac")[:3_000], "damaged or not complete"),
    ],
    ids=["empty", "text", "midi", "cut wav", "cut flac", "cut header", "no samples", "nan",
         "too long", "garbage", "cut phone file"],
)  # fmt: skip
def test_each_bad_file_has_its_own_message(data, words):
    with pytest.raises(SoundError, match=words) as caught:
        read_sound(data, "take.wav")
    assert caught.value.where == "take.wav"
    assert caught.value.remedy


def test_a_missing_file_is_an_error_for_the_person(tmp_path):
    with pytest.raises(SoundError, match="no such file"):
        read_sound(tmp_path / "nothing.wav")
