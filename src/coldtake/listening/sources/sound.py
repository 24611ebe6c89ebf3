"""Reading a recording into mono samples, and keeping it as FLAC.

Only what `containers` lists is read: by libsndfile where that reads it, else (what phones and
browsers make) by FFmpeg's libraries through PyAV. Channels are mixed to one; rates above 48 kHz
come down to it.
Reading goes block by block, so memory grows with the sound kept, not with the file's format.
"""

import io
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from coldtake.errors import SoundError
from coldtake.listening.sources import containers

Samples = npt.NDArray[np.float32]

LONGEST_S = 1800.0  # longer recordings are refused: choose the take inside
HIGHEST_RATE = 48_000  # Hz; nothing above 24 kHz helps to tell notes
RATES = (4_000, 768_000)  # Hz; what lies outside was never recorded
MOST_CHANNELS = 32
SPEECH_RATE = 11_025  # Hz; at or below it a recording carries only the lower partials
BLOCK_FRAMES = 1 << 18
SPOILT_FRAMES, SPOILT_SHARE = 3, 0.01  # of some 25 ms each, often a tag; more is no take
DIFFERENT = 0.05  # channels differ when their difference has this share of the sound's level

_WHAT_WE_READ = f"Use a {containers.ONE_OF_THEM} recording."


@dataclass(frozen=True, eq=False)
class Sound:
    """A recording.

    samples : float32, shape (n,), within [-1, 1]; rate : Hz
    remarks : what the listener should know about the file, as sentences
    """

    samples: Samples
    rate: int
    remarks: tuple[str, ...] = ()

    @property
    def duration_s(self) -> float:
        """Length [s]."""
        return len(self.samples) / self.rate

    def at(self, rate: int) -> Samples:
        """Its samples at another rate [Hz]."""
        if self.rate == rate:
            return self.samples
        import soxr

        found = soxr.resample(self.samples, self.rate, rate, quality="HQ")
        return np.asarray(found, dtype=np.float32)


def read_sound(source: Path | bytes, filename: str = "") -> Sound:
    """Read a recording from a file or from bytes.

    Raises SoundError with its own message for a missing, empty, truncated, silent-less (no audio),
    textual or too long file, and for samples that are not numbers.
    """
    where = filename or (source.name if isinstance(source, Path) else "the recording")
    data = _bytes_of(source, where)
    _refuse_what_is_no_sound(data, where)
    container = containers.container_of(data)
    if container is None:
        raise SoundError(
            "the file is not of a kind of recording that can be read.",
            where=where,
            remedy=_WHAT_WE_READ,
        )
    if not container.libsndfile:
        return _read_with_av(data, container, where)
    import soundfile

    try:
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            if file.format in container.libsndfile:
                return _read_soundfile(file, where)
    except soundfile.LibsndfileError:
        pass  # there are kinds of sound inside that only the other library knows
    return _read_with_av(data, container, where)


def to_flac(sound: Sound) -> bytes:
    """The sound as FLAC, 24 bit, one channel, at its own rate."""
    import soundfile

    out = io.BytesIO()
    soundfile.write(out, sound.samples, sound.rate, format="FLAC", subtype="PCM_24")
    return out.getvalue()


def _bytes_of(source: Path | bytes, where: str) -> bytes:
    if isinstance(source, bytes):
        return source
    try:
        return source.read_bytes()
    except OSError as error:
        raise SoundError.of_file(error, where) from error


def _refuse_what_is_no_sound(data: bytes, where: str) -> None:
    if not data:
        raise SoundError("the file is empty.", where=where, remedy="Record the take again.")
    if data[:4] == b"MThd":
        raise SoundError("this is a MIDI file, not a recording.", where=where, remedy=_WHAT_WE_READ)
    if _looks_like_text(data[:4096]):
        raise SoundError("this is a text file, not a recording.", where=where, remedy=_WHAT_WE_READ)
    if data[:4] == b"RIFF":
        _refuse_cut_wav(data, where)


def _looks_like_text(head: bytes) -> bool:
    if b"\0" in head:
        return False
    try:
        text = head[: len(head) - 3 if len(head) > 8 else len(head)].decode("utf-8")
    except UnicodeDecodeError:
        return False
    return all(c.isprintable() or c in "\r\n\t\ufeff" for c in text)


def _refuse_cut_wav(data: bytes, where: str) -> None:
    at = 12
    bytes_per_s = 0
    while at + 8 <= len(data):
        name, size = data[at : at + 4], struct.unpack("<I", data[at + 4 : at + 8])[0]
        if name == b"fmt " and at + 24 <= len(data):
            bytes_per_s = struct.unpack("<I", data[at + 16 : at + 20])[0]
        if name == b"data":
            _refuse_missing(size, len(data) - at - 8, bytes_per_s, where)
            return
        at += 8 + size + size % 2
    raise SoundError(
        "the WAV file ends before its sound begins.", where=where, remedy="Record or copy it again."
    )


def _refuse_missing(promised: int, there: int, bytes_per_s: int, where: str) -> None:
    if promised == 0 or there == 0:
        raise SoundError("the file holds no sound.", where=where, remedy="Record the take again.")
    if promised > there and promised < 0xFFFF0000:  # writers that stream put 0xFFFFFFFF there
        rate = max(bytes_per_s, 1)
        raise SoundError(
            f"the file is cut short: {there / rate:.1f} s of {promised / rate:.1f} s are there.",
            where=where,
            remedy="Copy it again from where it was recorded.",
        )


def _read_soundfile(file: "soundfile.SoundFile", where: str) -> Sound:  # type: ignore[name-defined] # noqa: F821
    promised = int(file.frames)
    mixer = _Mixer(int(file.samplerate), where)
    _refuse_length(promised / file.samplerate, where)
    _refuse_channels(file.channels, where)
    frames = BLOCK_FRAMES // file.channels
    while len(block := file.read(frames, dtype="float32", always_2d=True)):
        mixer.add(block)
    if mixer.frames < promised and not file.format.startswith(("MP3", "MPEG")):
        raise SoundError(
            f"the file is cut short: {mixer.frames / file.samplerate:.1f} s of "
            f"{promised / file.samplerate:.1f} s are there.",
            where=where,
            remedy="Copy it again from where it was recorded.",
        )
    return mixer.sound()


def _read_with_av(data: bytes, container: containers.Container, where: str) -> Sound:
    import av

    try:
        with containers.opened(data, container) as file:
            stream = _audio_of(file, where)
            mixer = _Mixer(int(stream.rate or 0), where)
            for block in _av_blocks(file, stream, container.resyncs):
                mixer.add(block)
    except (av.FFmpegError, ValueError, EOFError, OSError) as error:
        raise SoundError(
            "the file cannot be read as sound: it is damaged or not complete.",
            where=where,
            remedy="Copy it again from where it was recorded, or export it as WAV.",
        ) from error
    return mixer.sound()


def _audio_of(file: "av.container.InputContainer", where: str) -> "av.AudioStream":  # type: ignore[name-defined] # noqa: F821
    if not file.streams.audio:
        raise SoundError("the file holds no sound.", where=where, remedy=_WHAT_WE_READ)
    stream = file.streams.audio[0]
    if stream.codec_context is None or stream.codec_context.codec.name not in containers.CODECS:
        raise SoundError("the sound is of an unknown kind.", where=where, remedy=_WHAT_WE_READ)
    _refuse_channels(stream.channels, where)
    return stream


def _av_blocks(
    file: "av.container.InputContainer",  # type: ignore[name-defined] # noqa: F821
    stream: "av.AudioStream",  # type: ignore[name-defined] # noqa: F821
    resyncs: bool,
) -> Iterator[Samples]:
    import av

    resampler = av.AudioResampler(format="fltp")
    packets = spoilt = 0
    for packet in file.demux(stream):
        packets += 1
        try:
            frames = packet.decode()
        except av.InvalidDataError:
            spoilt += 1
            if not resyncs or spoilt > max(SPOILT_FRAMES, SPOILT_SHARE * packets):
                raise
            continue
        for frame in frames:
            for part in resampler.resample(frame):
                yield np.ascontiguousarray(part.to_ndarray().T, dtype=np.float32)


def _refuse_channels(channels: int, where: str) -> None:
    if channels > MOST_CHANNELS:
        raise SoundError(
            f"the file has {channels} channels; up to {MOST_CHANNELS} can be mixed to one.",
            where=where,
            remedy="Export it in stereo or mono.",
        )


def _refuse_rate(rate: int, where: str) -> None:
    lowest, highest = RATES
    if not lowest <= rate <= highest:
        raise SoundError(
            f"the file says {rate} samples a second, which no recording has.",
            where=where,
            remedy="Export it at 44.1 or 48 kHz.",
        )


def _refuse_length(seconds: float, where: str) -> None:
    if seconds > LONGEST_S:
        raise SoundError(
            f"the recording is {seconds / 60:.0f} minutes long; up to {LONGEST_S / 60:.0f} minutes "
            "can be listened to.",
            where=where,
            remedy="Cut out the take and upload that.",
        )


class _Mixer:
    """Collects blocks, mixed to one channel and brought down to the highest rate kept."""

    def __init__(self, rate: int, where: str) -> None:
        _refuse_rate(rate, where)
        self.frames = 0
        self._rate, self._where = rate, where
        self._parts: list[Samples] = []
        self._apart = self._whole = 0.0
        self._channels = 1
        self._down = None
        if rate > HIGHEST_RATE:
            import soxr

            self._down = soxr.ResampleStream(rate, HIGHEST_RATE, 1, dtype="float32", quality="HQ")

    def add(self, block: Samples) -> None:
        if not np.isfinite(block).all():
            raise SoundError(
                "the file holds samples that are not numbers.",
                where=self._where,
                remedy="Export it again from the program that made it.",
            )
        self.frames += len(block)
        _refuse_length(self.frames / self._rate, self._where)
        mono = block.mean(axis=1, dtype=np.float32)
        self._compare(block, mono)
        self._parts.append(mono if self._down is None else self._down.resample_chunk(mono))

    def _compare(self, block: Samples, mono: Samples) -> None:
        self._channels = block.shape[1]
        self._whole += float(np.square(block, dtype=np.float64).mean(axis=1).sum())
        self._apart += float(np.square(block - mono[:, None], dtype=np.float64).mean(axis=1).sum())

    def sound(self) -> Sound:
        if self._down is not None:
            self._parts.append(self._down.resample_chunk(np.zeros(0, np.float32), last=True))
        if not self.frames:
            raise SoundError(
                "the file holds no sound.", where=self._where, remedy="Record the take again."
            )
        samples = _joined(self._parts)
        loudest = float(np.abs(samples).max(initial=0.0))
        if loudest > 1.0:
            samples /= np.float32(loudest)
        return Sound(samples, min(self._rate, HIGHEST_RATE), self._remarks())

    def _remarks(self) -> tuple[str, ...]:
        remarks = []
        if self._channels > 1 and self._apart > DIFFERENT**2 * self._whole:
            remarks.append(f"The {self._channels} channels differ; they were mixed to one.")
        if self._rate <= SPEECH_RATE:
            remarks.append(
                f"Recorded at {self._rate / 1000:g} kHz: high notes are judged less surely."
            )
        return tuple(remarks)


def _joined(parts: list[Samples]) -> Samples:
    """All parts in one array; each is let go of once it is copied, so that none is there twice."""
    whole = np.empty(sum(map(len, parts)), np.float32)
    at = 0
    for n, part in enumerate(parts):
        whole[at : at + len(part)] = part
        at += len(part)
        parts[n] = part[:0].copy()
    return whole
