"""How well rhythms without pitches are told.

    PYTHONPATH=src python bench/listening/rhythm_study.py --bank timgm --takes 4

Onset error of matched strokes, missed, extra and out-of-place strokes found, false accusations,
note lengths and swing against the truth, verdicts. Also with pink noise at 20 dB, and what is no
rhythm at all. Tuning: bank timgm, seeds below 1000; reporting: bank fluid, seeds from 80000.
"""

import argparse
import json
from collections import defaultdict
from pathlib import Path

import numpy as np
from band import RATE
from conditions import apply
from rhythms import MAKERS, RhythmTake, play, rhythm_of

from coldtake.domain.criterion import Criterion, NotesTest, RhythmTest
from coldtake.domain.take import Answer, NoteStatus, Verdict
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.rhythm.judging import judge_rhythm
from coldtake.listening.sources.sound import Sound

FIRST_SEED = {"timgm": 0, "fluid": 80_000}
FAULTS = ((), (), ("missed",), ("extra",), ("out of place",), ("late",), ("missed", "extra"))


def judged(take: RhythmTake, criterion: Criterion) -> Verdict:
    sound = Sound(take.sound.astype(np.float32), RATE)
    return judge_rhythm(
        sound, JudgingRequest(take.passage, criterion, tempo_bpm=take.passage.written_bpm)
    )


def count(table: dict, take: RhythmTake, verdict: Verdict, faults: tuple[str, ...]) -> None:
    if not verdict.notes:
        table["not told"] += 1
        table["takes"] += 1
        return
    written = verdict.notes[: len(take.onsets_s)]
    extras = [n.onset_s for n in verdict.notes if n.status is NoteStatus.EXTRA]
    for k, (note, true) in enumerate(zip(written, take.onsets_s, strict=True)):
        sure = note.confidence >= 0.5
        accused = sure and note.status is not NoteStatus.RIGHT
        if true is None:
            table["missing"] += 1
            table["missing found"] += sure and note.status is NoteStatus.MISSED
        elif k in take.displaced and "out of place" in faults:
            table["out of place"] += 1
            table["out of place found"] += accused or not sure
        elif k in take.displaced:
            table["late"] += 1
            table["late found"] += note.displaced
        else:
            table["right"] += 1
            table["false accusations"] += accused
            table["false late"] += note.displaced
            table["abstained"] += not sure
            if note.onset_s is not None:
                table["errors"].append(1e3 * (note.onset_s - true))
    table["extras"] += len(take.extras_s)
    hits = sum(any(abs(e - t) < 0.05 for e in extras) for t in take.extras_s)
    table["extras found"] += hits
    table["false extras"] += len(extras) - hits
    want = Answer.NO if set(faults) - {"late"} else Answer.YES
    table["takes"] += 1
    kind = "verdict right" if verdict.answer is want else f"false {verdict.answer}"
    table["undecided" if verdict.answer is Answer.CANNOT_TELL else kind] += 1
    if verdict.answer not in (want, Answer.CANNOT_TELL):
        print("  wrong verdict:", take.passage.title, faults, verdict.reason, flush=True)


def summary(table: dict) -> dict:
    errors = np.abs(np.array(table.pop("errors") or [0.0]))
    found = {k: int(v) for k, v in table.items()}
    found["onset median ms"] = round(float(np.median(errors)), 1)
    found["onset 95 % ms"] = round(float(np.percentile(errors, 95)), 1)
    return found


def new_table() -> dict:
    table: dict = defaultdict(int)
    table["errors"] = []
    return table


def run(bank: str, takes: int) -> dict:
    out = {}
    for maker in MAKERS:
        for condition in ("clean", "noise", "room"):
            table = new_table()
            for k in range(takes):
                for f, faults in enumerate(FAULTS):
                    seed = FIRST_SEED[bank] + (100 * MAKERS.index(maker) + 7 * k + f) % 990
                    take = play(bank, maker, seed, faults=faults)
                    if condition != "clean":
                        take.sound = apply(condition, take.sound, seed, take.bpm)
                    verdict = judged(take, Criterion(tests=(NotesTest(),), rhythm_only=True))
                    count(table, take, verdict, faults)
            out[f"{maker}, {condition}"] = summary(table)
            print(f"{maker}, {condition}", out[f"{maker}, {condition}"], flush=True)
    out["swing"] = swings(bank, takes)
    out["no rhythm"] = never_yes(bank, takes)
    return out


def swings(bank: str, takes: int) -> dict:
    """Swing ratios of swung eighths as told, against those played."""
    from passages import passage_of

    passage = passage_of([(60, 0.5)] * 32 + [(60, 1.0)], bpm=120.0, title="eighths")
    off, inside = [], []
    for k in range(3 * takes):
        ratio = (1.0, 1.5, 2.0, 2.5)[k % 4]
        take = play(bank, "stick", FIRST_SEED[bank] + k, swing=ratio, passage=passage)
        test = RhythmTest(swing=2.0)
        verdict = judged(take, Criterion(tests=(test,), rhythm_only=True))
        figure = next((f for f in verdict.tests if f.name == "swing"), None)
        if figure is not None and figure.value is not None:
            off.append(figure.value / ratio - 1.0)
            inside.append(abs(figure.value - ratio) <= figure.uncertainty)
    found = {"takes": 3 * takes, "told": len(off),
             "error 95 % (share)": round(float(np.percentile(np.abs(off), 95)), 3),
             "inside": round(float(np.mean(inside)), 2)}  # fmt: skip
    print("swing", found)
    return found


def never_yes(bank: str, takes: int) -> dict:
    """Another rhythm, steady noise, silence, random strokes: never yes."""
    said: dict = defaultdict(int)
    criterion = Criterion(tests=(NotesTest(allowed=2),), rhythm_only=True)
    for k in range(2 * takes):
        seed = FIRST_SEED[bank] + 300 + k
        rng = np.random.default_rng(seed)
        other = play(bank, "clap", seed)
        other.passage = rhythm_of(seed + 11)
        said[f"another rhythm: {judged(other, criterion).answer}"] += 1
        noise = play(bank, "clap", seed)
        noise.sound = rng.normal(0, 0.1, 8 * RATE)
        said[f"noise: {judged(noise, criterion).answer}"] += 1
        noise.sound = np.zeros(8 * RATE)
        said[f"silence: {judged(noise, criterion).answer}"] += 1
        times = np.cumsum(rng.uniform(0.12, 0.9, 24))
        noise.sound = np.zeros(round((times[-1] + 1) * RATE))
        for t in times:
            noise.sound[round(t * RATE) :][:2000] += rng.normal(0, 0.3, 2000) * np.exp(
                -np.arange(2000) / 600
            )
        said[f"random strokes: {judged(noise, criterion).answer}"] += 1
    print(dict(said))
    return dict(said)


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--bank", default="timgm", choices=tuple(FIRST_SEED))
    parser.add_argument("--takes", type=int, default=2)
    parser.add_argument("--out", type=Path)
    given = parser.parse_args()
    found = run(given.bank, given.takes)
    if given.out:
        given.out.write_text(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
