"""How well improvisations over changes are transcribed, placed, measured and judged.

    PYTHONPATH=src python bench/listening/changes_study.py notes --bank timgm --takes 2
    PYTHONPATH=src python bench/listening/changes_study.py verdicts --bank timgm --takes 4

`notes`: F1 of mir_eval (onset 50 ms, pitch 50 cents, no offsets) against the acoustic onsets, and
that of the pitch detector's own segmentation, told as little. `verdicts`: figures against those of
the true notes on the true beats, by the same definitions, and verdicts, with the click unheard
(delay unknown), without any click, and as MIDI. Tuning: bank timgm, seeds below 1000; reporting:
bank fluid, seeds from 81000.
"""

import argparse
import json
import time
from collections import defaultdict
from pathlib import Path

import mir_eval
import numpy as np
import swift_f0
from band import INSTRUMENTS, RATE, SHARP, Played, synth
from improvisations import Improvisation, improvise, style_of
from passages import passage_of

from coldtake.domain.criterion import ChangesTest, Criterion
from coldtake.domain.take import Answer, ClickTrack, Verdict
from coldtake.listening.features.audio_features import AudioFeatures, _detected, hear
from coldtake.listening.improvised.figures import Errors, figures_of
from coldtake.listening.improvised.harmony import ChordTimeline, ground_of
from coldtake.listening.improvised.judging import judge_improvised, judge_improvised_keys
from coldtake.listening.improvised.measuring import Measured, OnBeats, measured
from coldtake.listening.improvised.transcribing import transcribe
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.keyboard.midi_performance import MidiNote, MidiPerformance
from coldtake.listening.sources.sound import Sound
from coldtake.music.passage import Bar as PassageBar
from coldtake.music.passage import Harmony, Passage
from coldtake.music.playback.accompaniment import accompany, feels_for

FIRST_SEED = {"timgm": 0, "fluid": 81_000}
WAYS = ("click unheard", "no click", "keys")
EXACT = Errors(0.0, 0.0, 0.0, 0.0)


def rendered(imp: Improvisation, program: int, bank: str) -> Sound:
    return Sound(synth(bank).render(program, imp.played), RATE)


def note_f1(imp: Improvisation, found: list[tuple[float, float, float]], tolerance: float) -> float:
    if not found:
        return 0.0
    true = [(n.onset_s, max(n.end_s, n.onset_s + 0.03), n.pitch) for n in imp.notes]
    return float(
        mir_eval.transcription.precision_recall_f1_overlap(
            *_intervals(true), *_intervals(found), onset_tolerance=tolerance, offset_ratio=None
        )[2]
    )


def _intervals(notes):
    times = np.array([(a, max(b, a + 0.03)) for a, b, _ in notes])
    return times, 440.0 * 2.0 ** ((np.array([p for *_, p in notes]) - 69) / 12)


def own_segments(hearing: AudioFeatures) -> list[tuple[float, float, float]]:
    found = swift_f0.segment_notes(_detected(hearing.samples))
    return [(n.start, n.end, 69 + 12 * np.log2(n.pitch_hz / 440)) for n in found]


def passage_of_changes(imp: Improvisation, low: int) -> Passage:
    """The changes as a page would hold them, with one low note of the instrument."""
    bar, changes = float(imp.changes.bar), imp.changes
    bars = tuple(
        PassageBar(k, str(k + 1), k * bar, bar, changes.metre) for k in range(changes.bars)
    )
    marks = tuple(Harmony(float(s.onset), s.chord.symbol) for s in changes.spans)
    note = passage_of([(low, bar)]).notes
    return Passage("changes", note, bars, (), "", harmonies=marks)


def truth_of(imp: Improvisation, ground: ChordTimeline) -> Measured:
    """The figures of the notes as they were meant to be heard: key times on the true beats."""
    return measured(
        [
            OnBeats((n.onset_s - imp.music_s) / imp.beat_s, (n.end_s - imp.music_s) / imp.beat_s,
                    n.pitch, True)
            for n in imp.notes
        ],
        ground,
    )  # fmt: skip


def asked_of(rng: np.random.Generator, choruses: int) -> ChangesTest:
    """A criterion drawn at random, of the kind that a player sets."""
    maybe = lambda values: None if rng.random() < 0.4 else float(rng.choice(values))  # noqa: E731
    return ChangesTest(
        choruses=choruses,
        in_scale_percent=float(rng.choice([70, 80, 85, 90, 95])),
        strong_beats_percent=maybe([40, 50, 60, 70]),
        arrivals_percent=maybe([40, 50, 60, 70]),
        silence_beats=float(rng.choice([3, 4, 6, 8])),
        phrase_beats=maybe([8, 12, 16]),
        least_per_bar=maybe([2, 3]),
        most_per_bar=maybe([6, 8]),
    )


def truth_answer(test: ChangesTest, true: Measured, ground: ChordTimeline) -> Answer:
    figures = figures_of(test, [true], ground, EXACT, ground.length_beats)
    return Answer.YES if all(f.passed for f in figures) else Answer.NO


def judged(
    way: str, imp: Improvisation, sound: Sound | None, test: ChangesTest, delay: float
) -> Verdict:
    low = min(n.pitch for n in imp.notes)
    passage, criterion = passage_of_changes(imp, low), Criterion(tests=(test,))
    click = ClickTrack(first_s=imp.music_s - delay - 4 * imp.beat_s, every_s=imp.beat_s,
                       music_s=imp.music_s - delay, per_bar=4)  # fmt: skip
    asked = JudgingRequest(passage, criterion, None if way == "no click" else click,
                  tempo_bpm=imp.style.bpm)  # fmt: skip
    if way == "keys":
        presses = tuple(MidiNote(n.start_s, n.end_s, n.pitch, 90) for n in imp.notes)
        return judge_improvised_keys(MidiPerformance(presses, presses[-1].offset_s + 1.0), asked)
    assert sound is not None
    return judge_improvised(sound, asked)


def run_notes(bank: str, takes: int) -> dict:
    table = {}
    for name, instrument in INSTRUMENTS.items():
        rows, cpu, length = [], 0.0, 0.0
        for k in range(takes):
            imp = improvise(instrument, bank, FIRST_SEED[bank] + 40 * instrument.program % 900 + k)
            sound = rendered(imp, instrument.program, bank)
            start = time.process_time()
            hearing = hear(sound)
            found = transcribe(hearing).notes
            cpu += time.process_time() - start
            length += sound.duration_s
            mine = [(n.onset_s, n.offset_s, float(n.pitch)) for n in found]
            rows.append([note_f1(imp, mine, 0.05), note_f1(imp, mine, 0.025),
                         note_f1(imp, own_segments(hearing), 0.05)])  # fmt: skip
        mean = [round(100 * float(x), 1) for x in np.mean(rows, axis=0)]
        table[name] = {"f50": mean[0], "f25": mean[1], "detector_f50": mean[2],
                       "cpu": round(cpu / length, 4)}  # fmt: skip
        print(f"{name:10s} {table[name]}", flush=True)
    for label, own in (("struck, plucked, brass, sax", True), ("others", False)):
        rows = [table[n] for n, i in INSTRUMENTS.items() if (i.family in SHARP) == own]
        print(label, {k: round(float(np.mean([r[k] for r in rows])), 1) for k in rows[0]})
    return table


def run_verdicts(bank: str, takes: int, ways: tuple[str, ...]) -> dict:
    errors: dict = defaultdict(lambda: defaultdict(list))
    counts: dict = defaultdict(lambda: defaultdict(int))
    for name, instrument in INSTRUMENTS.items():
        for k in range(takes):
            seed = FIRST_SEED[bank] + 500 + (17 * instrument.program + k) % 450
            rng = np.random.default_rng(seed)
            imp = improvise(instrument, bank, seed, style=style_of(rng))
            test, delay = asked_of(rng, 1), float(rng.uniform(0.07, 0.19))
            ground = ground_of(imp.changes, 1, 0, simplest=False)
            true = truth_of(imp, ground)
            want = truth_answer(test, true, ground)
            sound = rendered(imp, instrument.program, bank)
            for way in ways:
                verdict = judged(way, imp, sound, test, delay)
                _count(
                    counts[way], errors[way], verdict, want, test, true, ground, f"{name} {seed}"
                )
    return _summary(counts, errors)


def _count(counts, errors, verdict, want, test, true, ground, label):
    counts["takes"] += 1
    said = verdict.answer
    kind = (
        "undecided" if said is Answer.CANNOT_TELL else "right" if said is want else f"false {said}"
    )
    counts[kind] += 1
    if not verdict.tests:
        counts["obstacle"] += 1
        print(f"  obstacle: {label}: {verdict.reason}", flush=True)
    if kind.startswith("false"):
        print(f"  {kind}: {label}: {verdict.reason}", flush=True)
    exact = {f.name: f for f in figures_of(test, [true], ground, EXACT, ground.length_beats)}
    for f in verdict.tests:
        if f.name != "choruses" and f.value is not None and exact[f.name].value is not None:
            off = f.value - exact[f.name].value
            within = abs(off) <= (f.uncertainty or 0.0) + 1e-9
            errors[f.name].append((off, f.uncertainty, within))
            if not within and abs(off) > 2 * (f.uncertainty or 0):
                print(f"  far: {label} {f.name}: {f.value:.1f} for {exact[f.name].value:.1f}"
                      f" +- {f.uncertainty:.1f}", flush=True)  # fmt: skip


def _summary(counts, errors) -> dict:
    out: dict = {}
    for way in counts:
        n = counts[way]["takes"]
        out[way] = dict(counts[way])
        print(way, out[way])
        for name, rows in errors[way].items():
            off, half, within = (np.array(c, float) for c in zip(*rows, strict=True))
            row = {"median": round(float(np.median(off)), 2),
                   "abs95": round(float(np.percentile(np.abs(off), 95)), 2),
                   "half_width": round(float(np.median(half)), 2),
                   "inside": round(100 * float(within.mean()), 1), "of": len(rows)}  # fmt: skip
            out[way][f"error of {name}"] = row
            print("   ", name, row)
        del n
    return out


def run_never(bank: str, takes: int) -> dict:
    """What cannot carry the question, or carries only part of it: how often it was said yes.

    band : the accompaniment of `music` through a loudspeaker beside the line, so many dB below it
    """
    said: dict = defaultdict(int)
    easy = ChangesTest(in_scale_percent=60, silence_beats=12)
    for k in range(takes):
        seed = FIRST_SEED[bank] + 300 + k
        imp = improvise(INSTRUMENTS["trumpet"], bank, seed)
        solo = rendered(imp, INSTRUMENTS["trumpet"].program, bank).samples
        rng = np.random.default_rng(seed)
        band = band_of(imp, bank, len(solo))
        sounds = {"silence": np.zeros(len(solo)), "noise": rng.normal(0, 0.1, len(solo)),
                  "speech": speech(rng, len(solo)), "the band alone": band}  # fmt: skip
        for name, samples in sounds.items():
            sound = Sound(samples.astype(np.float32), RATE)
            said[f"{name}: {judged('click unheard', imp, sound, easy, 0.12).answer}"] += 1
        for below in (6, 14, 20):
            level = np.abs(solo).max() / max(np.abs(band).max(), 1e-9) * 10 ** (-below / 20)
            both = Sound((solo + level * band).astype(np.float32), RATE)
            ground = ground_of(imp.changes, 1, 0, simplest=False)
            want = truth_answer(easy, truth_of(imp, ground), ground)
            answer = judged("click unheard", imp, both, easy, 0.12).answer
            kind = "undecided" if answer is Answer.CANNOT_TELL else (
                "right" if answer is want else f"false {answer}")  # fmt: skip
            said[f"band {below} dB below: {kind}"] += 1
    for name in sorted(said):
        print(name, said[name])
    return dict(said)


def band_of(imp: Improvisation, bank: str, length: int) -> np.ndarray:
    """Bass and piano over the same changes, from the bank."""
    beats = accompany(imp.changes, feels_for(imp.changes)[0].name)
    out = np.zeros(length, np.float32)
    for part, program in (("bass", 32), ("chords", 0)):
        notes = [
            Played(imp.music_s + b.onset_beats * imp.beat_s,
                   imp.music_s + (b.onset_beats + b.beats) * imp.beat_s, b.pitch, 80)
            for b in beats if b.part == part
        ]  # fmt: skip
        sound = synth(bank).render(program, notes)[:length]
        out[: len(sound)] += sound
    return out


def speech(rng: np.random.Generator, length: int) -> np.ndarray:
    """Syllables of gliding pitch with formants: what a voice that talks does, made here."""
    out, at = np.zeros(length), 0.3
    while (at + 0.5) * RATE < length:
        n = round(float(rng.uniform(0.1, 0.3)) * RATE)
        pitch = float(rng.uniform(95, 210)) * 2 ** (np.linspace(0, rng.normal(0, 0.25), n))
        phase = 2 * np.pi * np.cumsum(pitch) / RATE
        formants = rng.uniform(300, 2400, 3)
        tone = sum(
            np.sin(k * phase) * sum(np.exp(-(((k * pitch - f) / 250) ** 2)) for f in formants)
            for k in range(1, 25)
        )
        out[round(at * RATE) :][:n] += tone * np.hanning(n)
        at += n / RATE + float(rng.uniform(0.02, 0.25))
    return 0.3 * out / np.abs(out).max()


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("what", choices=("notes", "verdicts", "never"))
    parser.add_argument("--bank", default="timgm", choices=tuple(FIRST_SEED))
    parser.add_argument("--takes", type=int, default=2)
    parser.add_argument("--ways", nargs="*", default=WAYS)
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    if given.what == "notes":
        found = run_notes(given.bank, given.takes)
    elif given.what == "never":
        found = run_never(given.bank, given.takes)
    else:
        found = run_verdicts(given.bank, given.takes, tuple(given.ways))
    if given.out:
        given.out.write_text(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
