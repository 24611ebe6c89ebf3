"""Two hundred and more short takes for every listener, rendered here: right, faulty, untellable.

The band of bench/listening plays Debian's bank FluidR3_GM, on which nothing was tuned; keyboards
are MIDI files. A take is a few seconds long. `may` is what may be answered: never a yes to what is
wrong, never a yes or no to what cannot be told. How often a right one is told is the bench's
question; here each must get an answer.
"""

import io
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from pathlib import Path

import mido
import numpy as np
import soundfile

sys.path.insert(0, str(Path(__file__).parents[1] / "bench" / "listening"))

from band import BANKS, RATE, Played, synth
from passages import passage_of
from rhythms import play

from coldtake.domain.criterion import (
    ChangesTest,
    ConditionsTest,
    Criterion,
    EvennessTest,
    NoStopsTest,
    NotesTest,
    RhythmTest,
    SteadinessTest,
    TempoTest,
    TimingTest,
    TuneTest,
)
from coldtake.domain.take import Answer

BANK = "fluid"
HAVE_BANK = BANKS[BANK].exists()
# So many takes of each kind, at least 200 in all.
COUNTS = {
    "line": 96, "chords": 12, "improvised": 21, "rhythm": 40, "keyboard": 15, "untellable": 20,
}  # fmt: skip
YES, NO, CANNOT = Answer.YES, Answer.NO, Answer.CANNOT_TELL
ANY, FAULTY = frozenset(Answer), frozenset({NO, CANNOT})
LEAD_S = 0.5

Rows = Sequence[tuple[tuple[int, ...], float]]  # (sounding MIDI numbers, none for a rest; quarters)


@dataclass(frozen=True)
class Take:
    """One take: its file, the notation, what is asked, what may be answered, how `listen` asks."""

    name: str
    file: str
    data: bytes
    abc: str
    criterion: Criterion
    may: frozenset[Answer]
    bpm: float
    click: dict[str, float] | None = None
    words: tuple[str, ...] = ()


# General MIDI programs counted from 0, the pitch around which they play; quick and slow attacks.
LINES = {
    "piano": (0, 64), "marimba": (12, 64), "guitar": (24, 55), "bass guitar": (32, 40),
    "trumpet": (56, 65), "trombone": (57, 53), "tuba": (58, 41), "horn": (60, 55),
    "alto saxophone": (65, 62), "violin": (40, 69), "viola": (41, 60), "cello": (42, 50),
    "double bass": (43, 40), "slow strings": (49, 62), "voice": (53, 62), "choir": (52, 64),
    "oboe": (68, 69), "bassoon": (70, 48), "clarinet": (71, 62), "flute": (73, 74),
    "pan flute": (75, 72), "organ": (19, 64), "accordion": (21, 66), "harmonica": (22, 69),
}  # fmt: skip
TOGETHER = {"piano": 0, "organ": 19, "guitar": 24, "strings": 48}  # the dearest kind to hear
SOLO = {
    "trumpet": (56, 62), "clarinet": (71, 62), "alto saxophone": (65, 60), "flute": (73, 72),
    "guitar": (24, 57), "violin": (40, 67), "cello": (42, 48),
}  # fmt: skip

# Invented: steps above the middle, quarters; repeated notes, a rest, leaps, neighbours.
TUNES = (
    ((0, 1), (2, 0.5), (4, 0.5), (4, 1), (5, 1), (7, 0.5), (7, 0.5), (4, 1), (2, 1), (0, 1)),
    ((7, 0.5), (5, 0.5), (4, 1), (None, 1), (4, 0.5), (4, 0.5), (9, 1), (7, 1), (5, 1), (0, 1)),
    ((0, 0.5), (0, 0.5), (3, 0.5), (3, 0.5), (7, 1), (5, 1), (8, 1), (7, 0.5), (3, 0.5), (0, 2)),
)
ELSE = ((1, 0.5), (6, 0.5), (-3, 1), (8, 1), (10, 0.5), (3, 0.5), (-1, 1), (6, 1), (1, 1), (11, 1))
CADENCE = (
    ((48, 64, 67, 72), 1), ((53, 69, 72), 0.5), ((74,), 0.5), ((55, 65, 71, 74), 1), ((48, 64), 1),
    ((55, 62, 71), 0.5), ((48, 64, 72), 0.5),
)  # fmt: skip
STRANGE = (
    ((51, 63, 70), 1), ((56, 63, 68), 1), ((58, 61, 66), 0.5), ((54, 61, 70, 73), 1.5),
    ((46, 53, 61, 66), 1),
)  # fmt: skip
CHORDS = ("Dm7", "G7", "Cmaj7", "A7")
INSIDE = (
    (0, 3, 7, 10, 9, 7, 5, 3), (9, 12, 15, 12, 9, 7, 5, 3), (2, 5, 9, 10, 12, 10, 9, 5),
    (11, 14, 17, 14, 11, 9, 7, 5),
)  # fmt: skip
SOLO_BPM = 168.0

ALL = (
    NotesTest(), NoStopsTest(), SteadinessTest(), TimingTest(), EvennessTest(), TuneTest(),
    RhythmTest(swing=1.0),
)  # fmt: skip


def asked(number: int, bpm: float) -> Criterion:
    """One of some criteria in turn, so that every test meets every kind of take."""
    tempo = TempoTest(mark=bpm, within_percent=12)
    choices = (
        (NotesTest(), NoStopsTest(), tempo),
        (*ALL, tempo),
        (NotesTest(), ConditionsTest(stated=("from memory",))),
        (NotesTest(), TempoTest(mark=bpm / 2, beat_unit_beats=2.0), TimingTest(tolerance_ms=80)),
    )
    return Criterion(tests=choices[number % len(choices)])


def takes(kind: str) -> Iterator[Take]:
    """Render the takes of one kind, one after another."""
    return {
        "line": _lines, "chords": _chords, "improvised": _improvised, "rhythm": _rhythms,
        "keyboard": _keyboard, "untellable": _untellable,
    }[kind]()  # fmt: skip


def _tune(number: int, middle: int) -> Rows:
    return tuple(
        (() if step is None else (middle + step,), float(beats))
        for step, beats in TUNES[number % len(TUNES)]
    )


def _else(middle: int) -> Rows:
    return tuple(((middle + step,), float(beats)) for step, beats in ELSE)


def _played(rows: Rows, bpm: float, seed: int = 1) -> list[Played]:
    """As written, a little uneven, chords a little spread."""
    rng, notes, at = np.random.default_rng(seed), [], 0.0
    for pitches, beats in rows:
        off = float(rng.normal(0.0, 0.008))
        for pitch in pitches:
            start = LEAD_S + at * 60.0 / bpm + off + float(rng.uniform(0, 0.012))
            notes.append(Played(start, start + 0.88 * beats * 60.0 / bpm, pitch, 92))
        at += beats
    return notes


def _faulty(rows: Rows, number: int) -> Rows:
    """One thing wrong: a note a third off, one left out, or one more."""
    at = max(k for k, (pitches, _) in enumerate(rows[:-1]) if pitches)
    pitches, beats = rows[at]
    if number % 3 == 0:
        return (*rows[:at], (tuple(p - 4 for p in pitches), beats), *rows[at + 1 :])
    if number % 3 == 1:
        return (*rows[:at], ((), beats), *rows[at + 1 :])
    more = ((pitches[0] + 3,), beats / 2)
    return (*rows[:at], (pitches, beats / 2), more, *rows[at + 1 :])


def wav(samples: np.ndarray) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, samples, RATE, format="WAV", subtype="PCM_16")
    return out.getvalue()


def _sound(program: int, notes: Sequence[Played]) -> bytes:
    return wav(synth(BANK).render(program, notes, 0.5))


def abc(rows: Rows, bpm: float) -> str:
    """The rows as ABC (version 2.1) in C, every accidental written."""
    body, at = [], 0.0
    for pitches, beats in rows:
        length = round(beats * 4)
        names = "".join(_name(p) for p in pitches)
        body.append(f"[{names}]{length}" if len(pitches) > 1 else f"{names or 'z'}{length}")
        at += beats
        if at % 4 == 0:
            body.append("|")
    music = "".join(body).rstrip("|")
    return f"X:1\nT:Take\nM:4/4\nL:1/16\nQ:1/4={bpm:g}\nK:C\n{music}|]\n"


def _name(pitch: int) -> str:
    letter = ("=C", "^C", "=D", "^D", "=E", "=F", "^F", "=G", "^G", "=A", "^A", "=B")[pitch % 12]
    up = pitch // 12 - 5
    return letter + ("'" * up if up > 0 else "," * -up)


def _lines() -> Iterator[Take]:
    for number, (name, (program, middle)) in enumerate(LINES.items()):
        rows = _tune(number, middle)
        for word, bpm, sounding, may in (
            ("right and fast", 132.0, rows, ANY),
            ("right and slow", 76.0, rows, ANY),
            ("faulty", 108.0, _faulty(rows, number), FAULTY),
            ("another tune", 120.0, _else(middle), FAULTY),
        ):
            sound = _sound(program, _played(sounding, bpm, number))
            criterion = asked(number, bpm)
            yield Take(f"{name}, {word}", "take.wav", sound, abc(rows, bpm), criterion, may, bpm)


def _chords() -> Iterator[Take]:
    for number, (name, program) in enumerate(TOGETHER.items()):
        for word, bpm, sounding, may in (
            ("right", 104.0, CADENCE, ANY),
            ("faulty", 96.0, _faulty(CADENCE, number), ANY),  # a voice hidden in a chord may pass
            ("other chords", 112.0, STRANGE, FAULTY),
        ):
            sound = _sound(program, _played(sounding, bpm, number))
            text, criterion = abc(CADENCE, bpm), asked(number, bpm)
            yield Take(f"{name}, {word}", "take.wav", sound, text, criterion, may, bpm)


def _chorus(middle: int, away: bool) -> Rows:
    steps = [(k, s) for bar in INSIDE for k, s in enumerate(bar)]
    return tuple(((middle + s + (away and k % 2), ), 0.5) for k, s in steps)  # fmt: skip


def _changes() -> str:
    bars = "|".join(f'"{c}"D16' for c in CHORDS)
    return f"X:1\nT:Changes\nM:4/4\nL:1/16\nQ:1/4={SOLO_BPM:g}\nK:C\n{bars}|]\n"


def _over(number: int) -> Criterion:
    tests = (
        (ChangesTest(in_scale_percent=80, silence_beats=4),),
        (
            ChangesTest(
                strong_beats_percent=40, arrivals_percent=50, phrase_beats=20, least_per_bar=4,
                most_per_bar=12, lowest=30, highest=100,
            ),
            TempoTest(mark=SOLO_BPM, within_percent=10),
        ),
    )  # fmt: skip
    return Criterion(tests=tests[number % 2])


def _improvised() -> Iterator[Take]:
    beat = 60.0 / SOLO_BPM
    click = {"first_s": LEAD_S - 0.12 - 4 * beat, "every_s": beat, "music_s": LEAD_S - 0.12,
             "per_bar": 4}  # fmt: skip
    for number, (name, (program, middle)) in enumerate(SOLO.items()):
        for word, away, track in (
            ("inside, with a click", False, click),
            ("inside, without a click", False, None),
            ("outside, without a click", True, None),
        ):
            sound = _sound(program, _played(_chorus(middle, away), SOLO_BPM, number))
            yield Take(
                f"{name} over changes, {word}", "take.wav", sound, _changes(), _over(number), ANY,
                SOLO_BPM, track, ("--choruses", "1"),
            )  # fmt: skip


RHYTHM = ((1.0,), (0.5, 0.5), (0.75, 0.25), (1.0,), (0.5, 0.5), (0.25, 0.25, 0.5), (2.0,))


def _rhythms() -> Iterator[Take]:
    lengths = [length for cell in RHYTHM for length in cell]
    makers = ("clap", "kick and snare", "stick", "muted guitar", "burst")
    for number, (bpm, maker) in enumerate(product((80.0, 126.0), makers)):
        text = abc(tuple(((60,), length) for length in lengths), bpm)
        passage = passage_of([(60, length) for length in lengths], bpm=bpm)
        for faults in ((), ("missed",), ("extra",), ("out of place",)):
            take = play(BANK, maker, number + 3, passage=passage, faults=faults)
            tests = (NotesTest(), RhythmTest(), NoStopsTest())
            if number % 2:
                tests = (*tests, TempoTest(mark=bpm, within_percent=25), TimingTest(), TuneTest())
            yield Take(
                f"{maker} at {bpm:g}, {faults[0] if faults else 'right'}", "take.wav",
                wav(take.sound), text,
                Criterion(tests=tests, rhythm_only=True), FAULTY if faults else ANY, bpm,
                words=("--rhythm",),
            )  # fmt: skip


def midi(notes: Sequence[Played], channel: int = 0) -> bytes:
    """A Standard MIDI File, one tick a tenth of a millisecond."""
    file = mido.MidiFile(ticks_per_beat=10_000)
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=1_000_000)])
    events = [(n.start_s, "note_on", n.key) for n in notes]
    events += [(n.end_s, "note_off", n.key) for n in notes]
    now = 0
    for at, what, key in sorted(events):
        tick = round(at * 10_000)
        track.append(mido.Message(what, note=key, velocity=80, channel=channel, time=tick - now))
        now = tick
    file.tracks.append(track)
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def _keyboard() -> Iterator[Take]:
    tune, bpm = _tune(0, 60), 100.0
    for name, rows, strange in (("a tune", tune, _else(60)), ("chords", CADENCE, STRANGE)):
        for number, (word, sounding, may) in enumerate((
            ("right", rows, {YES, CANNOT}),
            ("a note off", _faulty(rows, 0), FAULTY),
            ("a note less", _faulty(rows, 1), FAULTY),
            ("a note more", _faulty(rows, 2), FAULTY),
            ("something else", strange, FAULTY),
        )):  # fmt: skip
            data, criterion = midi(_played(sounding, bpm)), Criterion(tests=(NotesTest(), *ALL))
            criterion = criterion if number % 2 else asked(0, bpm)
            title = f"keyboard, {name}, {word}"
            yield Take(title, "take.mid", data, abc(rows, bpm), criterion, frozenset(may), bpm)
    yield from _keyboard_else(bpm)


def _keyboard_else(bpm: float) -> Iterator[Take]:
    for number, (word, rows) in enumerate((
        ("inside", _chorus(62, False)), ("outside", _chorus(62, True)),
        ("two notes", _chorus(62, False)[:2]),
    )):  # fmt: skip
        data = midi(_played(rows, SOLO_BPM))
        yield Take(
            f"keyboard over changes, {word}", "take.mid", data, _changes(), _over(number), ANY,
            SOLO_BPM, words=("--choruses", "1"),
        )  # fmt: skip
    rhythm = tuple(((38,), length) for cell in RHYTHM for length in cell)
    for word, rows, may in (("right", rhythm, ANY), ("short", rhythm[:6], FAULTY)):
        data = midi(_played(rows, bpm), channel=9)
        yield Take(
            f"pads, {word}", "take.mid", data, abc(rhythm, bpm),
            Criterion(tests=(NotesTest(), RhythmTest()), rhythm_only=True), may, bpm,
            words=("--rhythm",),
        )  # fmt: skip


def _nothing_to_tell() -> dict[str, np.ndarray]:
    time, rng = np.arange(4 * RATE) / RATE, np.random.default_rng(6)
    turns = np.cumsum(120 + 40 * np.sin(9 * time)) / RATE
    return {
        "silence": np.zeros(4 * RATE),
        "hum": 0.1 * np.sin(2 * np.pi * 50.0 * time),
        "noise": 0.1 * rng.normal(0, 1, 4 * RATE),
        "a voice without notes": 0.2 * np.sign(np.sin(2 * np.pi * turns)) * (np.sin(5 * time) > 0),
        "a click in a second": np.concatenate([np.zeros(RATE), [0.9], np.zeros(RATE)]),
    }


def _untellable() -> Iterator[Take]:
    asks = (
        ("a tune", abc(_tune(0, 60), 100.0), asked(1, 100.0), ()),
        ("chords", abc(CADENCE, 100.0), asked(1, 100.0), ()),
        ("changes", _changes(), _over(1), ("--choruses", "1")),
        ("a rhythm", abc(_tune(2, 60), 100.0), Criterion(tests=(NotesTest(),), rhythm_only=True),
         ("--rhythm",)),
    )  # fmt: skip
    for sound, samples in _nothing_to_tell().items():
        data = wav(samples)
        for what, text, criterion, words in asks:
            title, may = f"{sound} for {what}", FAULTY
            yield Take(title, "take.wav", data, text, criterion, may, 100.0, words=words)
