"""Which recordings are read at all: a list of containers and of codecs, told by the first bytes.

The libraries that decode know some four hundred containers, and among them are scripts, playlists
and descriptions of streams that open files and network addresses. None of those is ever asked: the
container is told here, by its own mark, the library is opened with its name given, and whatever a
container wants opened besides is refused.

Marks from the formats' own descriptions: RIFF/RF64 (EBU Tech 3306), W64, AIFF, CAF (Apple), FLAC
(RFC 9639), Ogg (RFC 3533), MPEG audio and ADTS (ISO/IEC 11172-3, 14496-3), ISO base media
(ISO/IEC 14496-12), Matroska (RFC 9559), AMR (RFC 4867); all from memory.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from typing import Any

# What recorders, phones, browsers and audio programs write; names of the decoders.
CODECS = frozenset(
    {
        "aac", "alac", "flac", "mp2", "mp2float", "mp3", "mp3float", "opus", "libopus",
        "vorbis", "speex", "amrnb", "amrwb", "libopencore_amrnb", "libopencore_amrwb",
        "adpcm_ima_wav", "adpcm_ima_qt", "adpcm_ms", "gsm", "gsm_ms", "pcm_alaw", "pcm_mulaw",
        "pcm_s8", "pcm_u8", "pcm_s16le", "pcm_s16be", "pcm_s24le", "pcm_s24be", "pcm_s32le",
        "pcm_s32be", "pcm_f32le", "pcm_f32be", "pcm_f64le", "pcm_f64be",
    }
)  # fmt: skip
_BOXES = (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot")
_W64 = b"riff.\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00"
_ID3_HEAD = 10


@dataclass(frozen=True, slots=True)
class Container:
    """One kind of file.

    demuxer : FFmpeg's name; libsndfile : what libsndfile may call it, () when it is not asked
    resyncs : made of frames that can be read from anywhere, so that a spoilt one harms no other
    """

    demuxer: str
    libsndfile: tuple[str, ...] = ()
    resyncs: bool = False


WAV = Container("wav", ("WAV", "WAVEX", "RF64"))
W64 = Container("w64", ("W64",))
AIFF = Container("aiff", ("AIFF",))
CAF = Container("caf", ("CAF",))
FLAC = Container("flac", ("FLAC",))
OGG = Container("ogg", ("OGG",))
# Before it takes MPEG audio for sound, libsndfile looks for other files.
MP3 = Container("mp3", resyncs=True)
ADTS = Container("aac", resyncs=True)
MP4 = Container("mov")
MATROSKA = Container("matroska")
AMR = Container("amr")


def container_of(data: bytes) -> Container | None:
    """Tell a recording's container by its first bytes; None for whatever is not on the list."""
    after_tag = _after_id3(data)
    found = _marked(data[after_tag : after_tag + 16])
    return found or (MP3 if after_tag else None)


def _after_id3(data: bytes) -> int:
    """Length of an ID3v2 tag before the sound, with its head."""
    if data[:3] != b"ID3" or len(data) < _ID3_HEAD:
        return 0
    size = 0
    for byte in data[6:_ID3_HEAD]:
        size = size << 7 | byte & 0x7F
    return _ID3_HEAD + size


def _marked(head: bytes) -> Container | None:
    if len(head) < 12:
        return None
    if head[:4] in (b"RIFF", b"RF64", b"BW64") and head[8:12] == b"WAVE":
        return WAV
    if head[:4] == b"FORM" and head[8:12] in (b"AIFF", b"AIFC"):
        return AIFF
    if head[4:8] in _BOXES:
        return MP4
    plain = (
        (_W64, W64),
        (b"caff\x00\x01\x00\x00desc", CAF),
        (b"fLaC", FLAC),
        (b"OggS", OGG),
        (b"\x1a\x45\xdf\xa3", MATROSKA),
        (b"#!AMR", AMR),
    )
    return next((kind for mark, kind in plain if head.startswith(mark)), _frames(head))


def _frames(head: bytes) -> Container | None:
    """MPEG audio without any container: a frame's head, in which some values are not used."""
    if head[0] != 0xFF or head[1] & 0xE0 != 0xE0:
        return None
    layer, version, bits, rate = head[1] & 0x06, head[1] & 0x18, head[2] >> 4, head[2] >> 2 & 3
    if not layer:
        return ADTS if head[1] & 0xF0 == 0xF0 else None
    return MP3 if version != 0x08 and bits != 15 and rate != 3 else None


def _opens_nothing(url: str, _flags: int, _options: dict[str, Any]) -> Any:
    raise PermissionError(f"a recording may open nothing else, and asked for {url[:80]}")


@contextmanager
def opened(data: bytes, container: Container) -> Iterator["av.container.InputContainer"]:  # type: ignore[name-defined] # noqa: F821
    """Open a recording by the name of its container, with no protocol and no second file."""
    import av

    options = {
        "protocol_whitelist": "none",  # of what it would open besides; there is none of this name
        "format_whitelist": container.demuxer,
        "codec_whitelist": ",".join(sorted(CODECS)),
    }
    with av.open(
        BytesIO(data), format=container.demuxer, container_options=options, io_open=_opens_nothing
    ) as file:
        yield file
