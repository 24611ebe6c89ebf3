"""How long reading and writing music takes, and how well playing is put on a grid.

    OMP_NUM_THREADS=1 PYTHONPATH=src python bench/material/speed.py

Times are CPU seconds of this process and of the engraver's, whose start is counted; the reference
in the same run is music21 reading the same text. The 200 pages are one movement in four parts, over
and over. The grid: tunes of the corpus played with normal errors of so many ms and 5 % of the notes
cut short, by seed; right is an onset that is back on its place.
"""

import copy
import io
import random
import resource
import statistics
import xml.etree.ElementTree as ET
from collections.abc import Callable
from fractions import Fraction

import mido
from corpus import files, pieces

from coldtake.errors import PassageError
from coldtake.music.abc.book import tunes_in
from coldtake.music.exercises.patterns import Pattern, pattern_abc
from coldtake.music.midi.page import midi_page
from coldtake.music.notation import verovio_client
from coldtake.music.notation.engraving.engraver import engrave
from coldtake.music.notation.reading.reader import read_passage, read_slowly
from coldtake.music.notation.reading.unpacking import unpack
from coldtake.music.theory.keys import KeyOrder, twelve_keys

LARGEST = "opus74.mxl"
REPEATED = "PMFC_12_9-Gloria Clementiae Pax.xml"
BARS_PER_PAGE, PAGES = 24, 200  # of four staves


def cpu(work: Callable[[], object]) -> float:
    """CPU seconds of some work, here and in the engraver's process."""
    verovio_client.WORKER.stop()
    before = _used()
    work()
    verovio_client.WORKER.stop()
    return _used() - before


def _used() -> float:
    own, other = (
        resource.getrusage(resource.RUSAGE_SELF),
        resource.getrusage(resource.RUSAGE_CHILDREN),
    )
    return own.ru_utime + own.ru_stime + other.ru_utime + other.ru_stime


def text_of(name: str) -> str:
    path = next(p for p in files() if p.name == name)
    return unpack(path.read_bytes(), path.name)[1]


def long_work(text: str) -> str:
    root = ET.fromstring(text)
    for part in root.iter("part"):
        measures = list(part)
        while len(part) < BARS_PER_PAGE * PAGES:
            part.extend(copy.deepcopy(m) for m in measures)
    return ET.tostring(root, encoding="unicode")


def reading() -> None:
    from music21 import converter

    text = text_of(LARGEST)
    ours = cpu(lambda: read_passage.__wrapped__(text, "musicxml"))
    theirs = cpu(lambda: converter.parseData(text, format="musicxml"))
    print(f"largest file, {len(text) / 1e6:.1f} MB of text: {ours:.1f} s, music21 {theirs:.1f} s")
    long = long_work(text_of(REPEATED))
    told: list[float] = []
    found = []
    spent = cpu(lambda: found.append(read_slowly(long, "musicxml", told.append)))
    bars, notes = len(found[0].bars), len(found[0].notes)
    print(f"{PAGES} pages, {bars} bars, {notes} notes, {len(long) / 1e6:.1f} MB: {spent:.1f} s, "
          f"progress told {len(told)} times")  # fmt: skip


def patterns() -> None:
    written: list[float] = []
    for key in twelve_keys(KeyOrder.FOURTHS):
        pattern = Pattern("thirds", key.tonic, instrument="clarinet in B♭")

        def one(pattern: Pattern = pattern) -> None:
            engrave(read_passage.__wrapped__(pattern_abc(pattern), "abc"))

        one()
        start = _used()
        one()
        written.append(_used() - start)
    print(f"pattern to drawn page: median {1000 * statistics.median(written):.0f} ms "
          "(this process; the engraver's part comes on top)")  # fmt: skip
    every = [Pattern("thirds", k.tonic) for k in twelve_keys(KeyOrder.FOURTHS)]
    whole = cpu(lambda: [engrave(read_passage.__wrapped__(pattern_abc(p), "abc")) for p in every])
    print(f"twelve patterns drawn, engraver and its start included: {whole:.2f} s")


def grids() -> None:
    rng = random.Random(11)
    tunes = [t for p in files() if p.suffix == ".abc" for _, _, t in _some(p)]
    rng.shuffle(tunes)
    for error_ms in (0, 5, 10, 20, 30):
        right = notes = whole = played = 0
        for text in tunes[:150]:
            passage = _quiet(text)
            if passage is None or not 4 <= len(passage.notes) <= 400:
                continue
            bpm = passage.written_bpm or 100.0
            goal = [Fraction(n.onset_beats).limit_denominator(48) for n in passage.notes]
            page = midi_page(_played(passage, bpm, error_ms / 1000, rng))
            got = [c.onset for c in page.quantised.chords]
            same = (
                sum(a == b for a, b in zip(goal, got, strict=False)) if len(got) == len(goal) else 0
            )
            right, notes = right + same, notes + len(goal)
            whole, played = whole + (same == len(goal)), played + 1
        print(f"onset error {error_ms} ms: {right / notes:.1%} of {notes} onsets on their place, "
              f"{whole} of {played} tunes wholly")  # fmt: skip


def _some(path):
    return list(pieces(path))[:3]


def _quiet(text: str):
    try:
        passage = read_passage.__wrapped__(tunes_in(text)[0].text, "abc")
    except PassageError:
        return None
    return passage if passage.is_one_line and not any(n.grace for n in passage.notes) else None


def _played(passage, bpm: float, error_s: float, rng: random.Random) -> bytes:
    """A MIDI file of somebody playing a passage at a tempo."""
    file = mido.MidiFile(ticks_per_beat=960)
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(bpm))])
    file.tracks.append(track)
    events = []
    for note in passage.notes:
        start = max(note.onset_beats + rng.gauss(0, error_s) * bpm / 60, 0)
        end = start + note.duration_beats * (0.4 if rng.random() < 0.05 else 0.9)
        events += [(round(start * 960), 1, note.pitch), (round(end * 960), 0, note.pitch)]
    at = 0
    for ticks, on, pitch in sorted(events):
        kind = "note_on" if on else "note_off"
        track.append(mido.Message(kind, note=pitch, time=max(ticks - at, 0)))
        at = max(at, ticks)
    box = io.BytesIO()
    file.save(file=box)
    return box.getvalue()


if __name__ == "__main__":
    grids()
    patterns()
    reading()
