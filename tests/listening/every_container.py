"""Files of every container that the decoder can write, scripts and playlists in many disguises, and
all of them read where the kernel ends the process at the first socket or file that is opened.

Run as a program it prints what became of each: `python every_container.py`, JSON.
"""

import io
import json
import sys
import time
from contextlib import suppress

import av
import numpy as np
from av.format import ContainerFormat

from coldtake.errors import SoundError
from coldtake.listening.sources import containers
from coldtake.listening.sources.sound import read_sound
from coldtake.subprocesses import walls

RATE = 48_000
OPENS_BY_ITSELF = {  # to write these means to open something
    "alsa", "oss", "fbdev", "rtp", "rtsp", "sap", "rtp_mpegts", "tee", "hls", "dash", "image2",
    "segment", "stream_segment,ssegment", "whip", "smoothstreaming", "hds", "video4linux2,v4l2",
    "fifo", "null", "uncodedframecrc", "chromaprint", "ivf", "obu", "avif", "hevc",
    "mkvtimestamp_v2",
}  # fmt: skip
SDP = (
    "v=0\r\no=- 0 0 IN IP4 127.0.0.1\r\ns=x\r\nc=IN IP4 239.1.2.3/4\r\nt=0 0\r\n"
    "m=audio 5004 RTP/AVP 97\r\na=rtpmap:97 L16/44100/2\r\n"
)
SCRIPTS = {
    "sdp": SDP,
    "rtsp reply": "RTSP/1.0 200 OK\r\nContent-Type: application/sdp\r\n\r\n" + SDP,
    "sap": "\x20\0\0\0\x7f\0\0\x01application/sdp\0" + SDP,
    "hls": "#EXTM3U\n#EXT-X-TARGETDURATION:5\n#EXT-X-MEDIA-SEQUENCE:0\n#EXTINF:5,\n"
    "file:///etc/passwd\n#EXTINF:5,\nhttp://127.0.0.1:9/a.ts\n#EXT-X-ENDLIST\n",
    "concat": "ffconcat version 1.0\nfile /etc/passwd\nfile 'http://127.0.0.1:9/a'\n",
    "dash": '<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011" type="static"><Period>'
    "<AdaptationSet><Representation><BaseURL>file:///etc/passwd</BaseURL></Representation>"
    "</AdaptationSet></Period></MPD>",
    "imf": '<?xml version="1.0"?><CompositionPlaylist xmlns="http://www.smpte-ra.org/schemas/'
    '2067-3/2016"><Asset>/etc/passwd</Asset></CompositionPlaylist>',
    "ffmetadata": ";FFMETADATA1\ntitle=/etc/passwd\n[CHAPTER]\nSTART=0\nEND=1\n",
    "webm manifest": "webm_dash_manifest|file:/etc/passwd",
    "tee": "[f=wav]/tmp/a.wav|[f=wav]/tmp/b.wav",
    "vobsub": "# VobSub index file, v7\nid: en, index: 0\ntimestamp: 00:00:00:000, filepos: 0\n",
    "mpjpeg": "--x\r\nContent-Type: image/jpeg\r\nContent-Length: 5\r\n\r\nabcde\r\n",
    "subtitles": "1\n00:00:00,000 --> 00:00:01,000\nnow\n",
    "ass": "[Script Info]\nScriptType: v4.00+\n[Events]\nDialogue: 0,0:00:00.00,0:00:01.00,a",
    "webvtt": "WEBVTT\n\n00:00.000 --> 00:01.000\nnow\n",
    "sami": "<SAMI><BODY><SYNC Start=1>now</SYNC></BODY></SAMI>",
    "lrc": "[ti:x]\n[00:01.00]now\n",
    "lavfi": "sine=frequency=440,amovie=/etc/passwd",
    "image pattern": "/etc/passwd%03d.png",
    "svg": '<svg xmlns="http://www.w3.org/2000/svg"><image href="file:///etc/passwd"/></svg>',
    "sbg": "SBaGen\n-SE\nNOW alloff\n440+4/50\n",
    "rpl": "ARMovie\n/etc/passwd\n",
    "redirection": "[Reference]\nRef1=http://127.0.0.1:9/a\n",
    "asx": '<asx version="3.0"><entry><ref href="http://127.0.0.1:9/a"/></entry></asx>',
}
HEADS = {
    "wav": b"RIFF\x24\0\0\0WAVEfmt ", "avi": b"RIFF\x24\0\0\0AVI LIST", "flac": b"fLaC\0\0\0\x22",
    "ogg": b"OggS\0\x02" + bytes(22), "mp3": b"ID3\x04\0\0\0\0\0\0", "frames": b"\xff\xfb\x94\xc4",
    "adts": b"\xff\xf1\x4c\x40\x1b\xdf\xfc", "mp4": b"\0\0\0\x10ftypM4A \0\0\0\0",
    "mdat": b"\0\0\0\x08mdat", "matroska": b"\x1a\x45\xdf\xa3\x84\x42\x86\x81\x01",
    "caf": b"caff\0\x01\0\0", "aiff": b"FORM\0\0\0\x40AIFFCOMM", "amr": b"#!AMR\n",
    "w64": b"riff.\x91\xcf\x11\xa5\xd6\x28\xdb\x04\xc1\0\0",
    "asf": bytes.fromhex("3026b2758e66cf11a6d900aa0062ce6c"), "flv": b"FLV\x01\x05\0\0\0\x09",
    "midi": b"MThd\0\0\0\6", "rm": b".RMF\0\0\0\x12", "swf": b"FWS\x06", "au": b".snd\0\0\0\x18",
    "gif": b"GIF89a", "png": b"\x89PNG\r\n\x1a\n", "jpeg": b"\xff\xd8\xff\xe0",
    "mpegts": b"\x47\x40\0\x10" + bytes(184), "ivr": b".R1M",
    "mxf": b"\x06\x0e\x2b\x34\x02\x05\x01\x01",
    "wtv": bytes.fromhex("b7d800203749da11a64e0007e95ead8d"), "nut": b"nut/multimedia container\0",
    "mpc": b"MP+", "mpc8": b"MPCK", "ape": b"MAC ", "tak": b"tBaK", "tta": b"TTA1", "wv": b"wvpk",
    "shn": b"ajkg", "dsf": b"DSD ", "iff": b"FORM\0\0\0\x408SVXVHDR",
    "voc": b"Creative Voice File\x1a", "xa": b"XAI\0", "gxf": b"\0\0\0\0\x01\xbc",
    "mpeg": b"\0\0\x01\xba\x44", "dts": b"\x7f\xfe\x80\x01", "ac3": b"\x0b\x77\x00\x00",
    "amv": b"RIFF\x24\0\0\0AMV LIST", "qcp": b"RIFF\x24\0\0\0QLCMfmt ",
    "mat5": b"MATLAB 5.0 MAT-file", "svx": b"FORM\0\0\0\x40" + b"16SV", "paf": b" paf",
    "sds": b"\xf0\x7e\0\x01", "nist": b"NIST_1A\n   1024\n", "pvf": b"PVF1\n",
    "xi": b"Extended Instrument: ", "avr": b"2BIT", "ircam": b"\x64\xa3\x01\0",
    "htk": b"\0\0\0\x10\0\0\0\x10\0\x02\0\0", "mpc2k": b"\x01\x04", "wve": b"ALawSoundFile**\0",
}  # fmt: skip


def written(name: str) -> bytes:
    """A tenth of a second of this container as the library writes it; raises where it cannot."""
    out = io.BytesIO()
    with av.open(out, "w", format=name) as file:
        if file.default_audio_codec in (None, "none"):
            _write_pictures(file)
        else:
            _write_sound(file)
    return out.getvalue()


def _write_sound(file):
    codec = av.codec.Codec(file.default_audio_codec, "w")
    rates = codec.audio_rates or [RATE]
    rate = 8000 if "amr" in codec.name else RATE if RATE in rates else rates[0]
    stream = file.add_stream(codec.name, rate=rate)
    stream.layout = "mono"
    wave = np.sin(np.arange(RATE // 10) / 17).astype(np.float32)[None, :] / 3
    frame = av.AudioFrame.from_ndarray(wave, format="fltp", layout="mono")
    frame.sample_rate = RATE
    context = stream.codec_context
    size = context.frame_size or 0
    fit = av.AudioResampler(context.format.name, layout="mono", rate=rate, frame_size=size)
    for part in (*fit.resample(frame), None):
        for packet in stream.encode(part):
            file.mux(packet)


def _write_pictures(file):
    stream = file.add_stream(file.default_video_codec, rate=25)
    stream.width = stream.height = 64
    kinds = stream.codec_context.codec.video_formats
    stream.pix_fmt = kinds[0].name if kinds else "yuv420p"
    black = av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), np.uint8), format="rgb24")
    for part in (black.reformat(format=stream.pix_fmt), None):
        for packet in stream.encode(part):
            file.mux(packet)


def all_written() -> dict[str, bytes]:
    """Every container that can be written here."""
    made = {}
    for name in sorted(av.formats_available - OPENS_BY_ITSELF):
        with suppress(Exception):
            if ContainerFormat(name, "w").is_output:
                made[name] = written(name)
    return made


def disguised() -> dict[str, bytes]:
    """Scripts that pass for no text, and scripts after the head of a container."""
    made = {}
    for name, text in SCRIPTS.items():
        body = text.encode("latin-1")
        made[name] = body
        made[f"{name}, then a zero"] = body + b"\0"
        made[f"{name} as UTF-16"] = text.encode("utf-16")
        made[f"{name} after a tag"] = b"ID3\x04\0\0\0\0\0\0" + body + b"\0"
        for head in containers_with_heads():
            made[f"{name} after {head}"] = HEADS[head] + b"\0" + body
    made |= {f"{name} and nothing": head for name, head in HEADS.items()}
    made |= {f"{name} and zeros": head + bytes(4000) for name, head in HEADS.items()}
    return made


def containers_with_heads():
    return [n for n, head in HEADS.items() if containers.container_of(head + bytes(20))]


def became(data: bytes) -> str:
    """What the reader says of it: "read", or its refusal."""
    try:
        read_sound(data, "take")
    except SoundError as refusal:
        return str(refusal)
    return "read"


def by_name(name: str, data: bytes) -> str:
    """What becomes of it if the list itself were wrong, and let this container in."""
    try:
        with containers.opened(data, containers.Container(name)) as file:
            for _packet in zip(range(3), file.demux(), strict=False):
                pass
    except (av.FFmpegError, ValueError, EOFError, OSError) as error:
        return type(error).__name__
    return "opened"


def main():
    av.logging.set_level(av.logging.PANIC)
    files = all_written() | disguised()
    for name in ("wav", "mp4", "w64", "mp2"):  # so that everything is imported
        became(files[name])
        became(files[name][:60])
    said = {}
    walled = walls.give_up(
        (*walls.NETWORK_AND_PROGRAMS, "open", "openat", "openat2", "creat"), kill=True
    )
    for name, data in files.items():
        began = time.process_time()
        said[name] = (became(data), time.process_time() - began)
    for name in ("sdp", "hls", "concat", "ffmetadata", "mov", "lavfi", "rtsp", "image2", "sap"):
        if name in av.formats_available:
            for script, text in SCRIPTS.items():
                said[f"{script} read as {name}"] = (by_name(name, text.encode("latin-1")), 0.0)
    json.dump({"walled": walled, "said": said}, sys.stdout)


if __name__ == "__main__":
    main()
