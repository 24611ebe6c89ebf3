"""Which recordings are read at all: a list of containers and of codecs, told by the first bytes.

A container is declared here and nowhere else; what people are told of it follows. Its line in
`tests/listening/test_every_container.py` says that it is read.

The libraries that decode know some four hundred containers, and among them are scripts, playlists
and descriptions of streams that open files and network addresses. None of those is ever asked: the
container is told here, by its own mark, the library is opened with its name given, and whatever a
container wants opened besides is refused.

Marks from the formats' own descriptions: RIFF/RF64 (EBU Tech 3306), W64, AIFF, CAF (Apple), FLAC
(RFC 9639), Ogg (RFC 3533), MPEG audio and ADTS (ISO/IEC 11172-3, 14496-3), ISO base media
(ISO/IEC 14496-12), Matroska (RFC 9559), AMR (RFC 4867); all from memory.
"""

from collections.abc import Callable, Iterator
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
_ID3_HEAD = 10
_HEAD = 16  # bytes by which a container is told


@dataclass(frozen=True, slots=True)
class Container:
    """One kind of file.

    demuxer : FFmpeg's name; libsndfile : what libsndfile may call it, () when it is not asked
    begins : whether a file that begins so is one
    names : as people call it, () where few do; suffixes : of its files
    resyncs : made of frames that can be read from anywhere, so that a spoilt one harms no other
    in_browsers : browsers decode it too
    """

    demuxer: str
    libsndfile: tuple[str, ...] = ()
    begins: Callable[[bytes], bool] = lambda _head: False
    names: tuple[str, ...] = ()
    suffixes: tuple[str, ...] = ()
    resyncs: bool = False
    in_browsers: bool = False


def _marked(*marks: bytes) -> Callable[[bytes], bool]:
    return lambda head: head.startswith(marks)


def _form(forms: tuple[bytes, ...], kinds: tuple[bytes, ...]) -> Callable[[bytes], bool]:
    return lambda head: head[:4] in forms and head[8:12] in kinds


def _has_box(head: bytes) -> bool:
    return head[4:8] in (b"ftyp", b"moov", b"mdat", b"wide", b"free", b"skip", b"pnot")


def _is_frame(head: bytes) -> bool:
    return head[0] == 0xFF and head[1] & 0xE0 == 0xE0


def _mpeg_frame(head: bytes) -> bool:
    """MPEG audio without any container: a frame's head, in which some values are not used."""
    layer, version, bits, rate = head[1] & 0x06, head[1] & 0x18, head[2] >> 4, head[2] >> 2 & 3
    return _is_frame(head) and layer != 0 and version != 0x08 and bits != 15 and rate != 3


def _adts_frame(head: bytes) -> bool:
    return _is_frame(head) and not head[1] & 0x06 and head[1] & 0xF0 == 0xF0


# Before it takes MPEG audio for sound, libsndfile looks for other files.
MP3 = Container("mp3", (), _mpeg_frame, ("MP3",), (".mp3",), resyncs=True, in_browsers=True)
# All that is read, in the order in which people are told.
CONTAINERS = (
    Container(
        "wav", ("WAV", "WAVEX", "RF64"), _form((b"RIFF", b"RF64", b"BW64"), (b"WAVE",)),
        ("WAV",), (".wav",), in_browsers=True,
    ),
    Container("aiff", ("AIFF",), _form((b"FORM",), (b"AIFF", b"AIFC")),
              ("AIFF",), (".aif", ".aiff")),
    Container("flac", ("FLAC",), _marked(b"fLaC"), ("FLAC",), (".flac",), in_browsers=True),
    MP3,
    Container("mov", (), _has_box, ("M4A", "MP4"), (".m4a", ".mp4", ".mov", ".3gp"),
              in_browsers=True),
    Container("ogg", ("OGG",), _marked(b"OggS"), ("Ogg",), (".ogg", ".opus"), in_browsers=True),
    Container("matroska", (), _marked(b"\x1a\x45\xdf\xa3"), ("WebM",), (".webm", ".mka"),
              in_browsers=True),
    Container("amr", (), _marked(b"#!AMR"), ("AMR",), (".amr",)),
    Container("caf", ("CAF",), _marked(b"caff\x00\x01\x00\x00desc"), (), (".caf",)),
    Container("w64", ("W64",), _marked(b"riff.\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\x00\x00")),
    Container("aac", (), _adts_frame, (), (".aac",), resyncs=True),
)  # fmt: skip
NAMES = tuple(name for one in CONTAINERS for name in one.names)
ONE_OF_THEM = f"{', '.join(NAMES[:-1])} or {NAMES[-1]}"  # as in "Use a ... recording."


def container_of(data: bytes) -> Container | None:
    """Tell a recording's container by its first bytes; None for whatever is not on the list."""
    after_tag = _after_id3(data)
    head = data[after_tag : after_tag + _HEAD]
    found = next((one for one in CONTAINERS if len(head) >= 12 and one.begins(head)), None)
    return found or (MP3 if after_tag else None)


def _after_id3(data: bytes) -> int:
    """Length of an ID3v2 tag before the sound, with its head."""
    if data[:3] != b"ID3" or len(data) < _ID3_HEAD:
        return 0
    size = 0
    for byte in data[6:_ID3_HEAD]:
        size = size << 7 | byte & 0x7F
    return _ID3_HEAD + size


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
