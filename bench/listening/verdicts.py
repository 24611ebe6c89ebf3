"""A thousand mixed takes: how often the verdict is right, and how often it says yes wrongly.

    python bench/listening/verdicts.py {tune|report} --takes 1000 --rows rows.jsonl
    python bench/listening/verdicts.py summary --rows rows.jsonl

Nine of ten takes are the passage: any instrument, manner, condition, faults or none, a criterion
drawn at random whose threshold lies a drawn distance from what was really played. The tenth is
something else (`strangers.py`, another passage, a second player beside): its verdict may be no or
cannot tell, never yes. Rows are appended as they come, and a second run goes on after the last.

Truth comes from the generator. Where it lies nearer to the threshold than two careful people would
agree (`MARGIN`), the take is asked all the same and counted apart as "too near".
"""

import argparse
import json
import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np
from scipy.stats import beta

sys.path.insert(0, str(Path(__file__).parents[2] / "src"))
from band import INSTRUMENTS, RATE, synth
from conditions import CONDITIONS, apply
from passages import from_corpus, invented
from performances import FAULTS, Truth, perform
from scoring import has_note_fault
from strangers import KINDS, sound_of, talk

from coldtake.domain.criterion import (
    Criterion,
    NoStopsTest,
    NotesTest,
    TempoTest,
    TimingTest,
    TuneTest,
)
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.melody.judge import judge
from coldtake.listening.sources.sound import Sound
from coldtake.units import A4_HZ

SETS = {"tune": ("timgm", 300), "report": ("fluid", 62_000)}
MARGIN = {"timing ms": 8.0, "cents": 4.0, "tempo %": 0.7}
ASKED = ("notes", "notes", "notes and stops", "tempo", "timing", "tune")


def wanted(truth: Truth, criterion: Criterion) -> str:
    """What the truth says: yes, no, or "too near"."""
    answers = {_wanted(truth, test) for test in criterion.tests}
    return "no" if "no" in answers else "too near" if "too near" in answers else "yes"


def _wanted(truth: Truth, test) -> str:
    played = [n for n in truth.notes if n.onset_s is not None]
    match test:
        case NotesTest():
            return "no" if has_note_fault(truth, restarts=False) else "yes"
        case NoStopsTest():
            return "no" if truth.restarts else "yes"
        case TempoTest():
            return _against(truth.bpm / test.mark - 1.0, MARGIN["tempo %"] / 100.0)
        case TimingTest():
            off = np.array([n.off_s for n in played]) * 1e3
            return _share_wanted(np.abs(off - np.median(off)), test.tolerance_ms, "timing ms", test)
        case TuneTest():
            cents = np.array([n.cents for n in played if n.status == "right"])
            shift = 1200.0 * np.log2(test.a4_hz / A4_HZ)
            return _share_wanted(np.abs(cents - shift), test.tolerance_cents, "cents", test)
    raise ValueError(test)


def _against(value: float, margin: float) -> str:
    return "too near" if abs(value) < margin else "yes" if value > 0 else "no"


def _share_wanted(off: np.ndarray, tolerance: float, margin: str, test) -> str:
    surely, perhaps = (
        100.0 * float((off <= tolerance + sign * MARGIN[margin]).mean()) >= test.share_percent
        for sign in (-1, 1)
    )
    return "yes" if surely else "too near" if perhaps else "no"


def criterion_of(asked: str, truth: Truth, rng: np.random.Generator) -> Criterion:
    """A criterion of the kind asked for, its threshold near what was played but not on it."""
    match asked:
        case "notes":
            return Criterion(tests=(NotesTest(),))
        case "notes and stops":
            return Criterion(tests=(NotesTest(), NoStopsTest()))
        case "tempo":
            away = float(rng.choice([-1, 1]) * rng.uniform(0.01, 0.1))
            return Criterion(tests=(TempoTest(mark=round(float(truth.bpm) * (1.0 + away), 1)),))
        case "timing":
            return Criterion(tests=(TimingTest(tolerance_ms=float(rng.choice([30, 50, 70]))),))
        case "tune":
            return Criterion(tests=(TuneTest(tolerance_cents=float(rng.choice([15, 25, 35]))),))
    raise ValueError(asked)


def take(bank: str, seed: int) -> dict:
    """Make, judge and describe one take."""
    rng = np.random.default_rng(seed * 104_729 + 5)
    name = str(rng.choice(list(INSTRUMENTS)))
    instrument = INSTRUMENTS[name]
    passage = _passage(instrument, seed, rng)
    faults: tuple[str, ...] = ()
    if rng.random() < 0.55:
        faults = tuple(map(str, rng.choice(FAULTS, size=int(rng.integers(1, 4)), replace=False)))
    played, truth = perform(passage, instrument, bank, seed, faults=faults)
    sound = synth(bank).render(instrument.program, played)
    condition = str(rng.choice(CONDITIONS)) if rng.random() < 0.5 else "clean"
    asked = str(rng.choice(ASKED))
    criterion = criterion_of(asked, truth, rng)
    want, kind = wanted(truth, criterion), "the passage"
    if rng.random() < 0.1:
        want, kind = "never yes", str(rng.choice([*KINDS, "a second player"]))
        sound = _something_else(kind, sound, bank, seed, rng)
    elif rng.random() < 0.08:
        kind = "talk before"
        before = talk(float(rng.uniform(1.0, 3.0)), rng) * np.abs(sound).max() / 0.3
        sound = np.concatenate([before, sound])
    sound = apply(condition, sound.astype(np.float32), seed, truth.bpm)
    started = time.process_time()
    verdict = judge(Sound(sound.astype(np.float32), RATE), JudgingRequest(passage, criterion))
    return {
        "seed": seed, "instrument": name, "kind": kind, "condition": condition, "asked": asked,
        "faults": truth.faults, "want": want, "said": verdict.answer.value,
        "reason": verdict.reason[:300], "seconds": len(sound) / RATE,
        "cpu": time.process_time() - started, "engine": verdict.engine,
    }  # fmt: skip


def _passage(instrument, seed: int, rng: np.random.Generator):
    if rng.random() < 0.15:
        high = min(instrument.high, instrument.low + 30 + int(rng.integers(0, 12)))
        return from_corpus(seed, instrument.low, high)
    return invented(seed * 131 + instrument.program, instrument.low, instrument.high)


def _something_else(kind: str, sound, bank: str, seed: int, rng: np.random.Generator):
    if kind not in ("another passage", "a second player"):
        return sound_of(kind, len(sound) / RATE, rng)
    other = INSTRUMENTS[str(rng.choice(list(INSTRUMENTS)))]
    notes, _ = perform(_passage(other, seed + 7_000_000, rng), other, bank, seed + 1)
    second = synth(bank).render(other.program, notes)
    if kind == "another passage":
        return second
    both = np.zeros(max(len(sound), len(second)), np.float32)
    both[: len(sound)] += sound
    both[: len(second)] += second * np.sqrt(np.mean(sound**2) / np.mean(second**2))
    return both


def share(part: int, whole: int) -> str:
    """Percent, with the exact 95 % interval (Clopper and Pearson, 1934, Biometrika 26)."""
    if not whole:
        return "-"
    low = beta.ppf(0.025, part, whole - part + 1) if part else 0.0
    high = beta.ppf(0.975, part + 1, whole - part) if part < whole else 1.0
    return f"{100 * part / whole:.1f} ({100 * low:.1f} to {100 * high:.1f}) of {whole}"


def summary(rows: list[dict]) -> str:
    """The tables, as Markdown."""
    strange = [r for r in rows if r["want"] == "never yes"]
    near = [r for r in rows if r["want"] == "too near"]
    plain = [r for r in rows if r["want"] in ("yes", "no")]
    parts = [f"{len(rows)} takes, engine {', '.join(sorted({r['engine'] for r in rows}))}.\n"]
    parts.append(
        "| takes of the passage | right of decided % | false yes % | false no % | undecided % |"
    )
    parts.append("| --- | --- | --- | --- | --- |")
    parts.append(_line("all", plain))
    for key in ("asked", "kind", "condition", "instrument"):
        parts += [_line(f"{key}: {v}", [r for r in plain if r[key] == v])
                  for v in sorted({r[key] for r in plain})]  # fmt: skip
    said = Counter(r["said"] for r in near)
    parts.append(f"\nToo near to the threshold to have a truth: {len(near)} takes, {dict(said)}.")
    parts.append(
        "\n| something else | takes | yes | no | cannot tell |\n| --- | --- | --- | --- | --- |"
    )
    for kind in sorted({r["kind"] for r in strange}):
        c = Counter(r["said"] for r in strange if r["kind"] == kind)
        parts.append(f"| {kind} | {c.total()} | {c['yes']} | {c['no']} | {c['cannot_tell']} |")
    cost = sum(r["cpu"] for r in rows) / sum(r["seconds"] for r in rows)
    parts.append(f"\nProcessor seconds per second of sound: {cost:.3f}.\n\nWrong verdicts:\n")
    parts += [
        f"- {r['instrument']} {r['seed']} {r['condition']}, {r['kind']}, asked {r['asked']}, "
        f"{', '.join(r['faults']) or 'no faults'}: wanted {r['want']}. {r['reason'][:160]}"
        for r in rows if {r["want"], r["said"]} in ({"yes", "no"}, {"never yes", "yes"})
    ]  # fmt: skip
    return "\n".join(parts)


def _line(name: str, rows: list[dict]) -> str:
    pairs = Counter((r["want"], r["said"]) for r in rows)
    right = pairs["yes", "yes"] + pairs["no", "no"]
    unsure = pairs["yes", "cannot_tell"] + pairs["no", "cannot_tell"]
    cells = [
        share(right, len(rows) - unsure), share(pairs["no", "yes"], len(rows)),
        share(pairs["yes", "no"], len(rows)), share(unsure, len(rows)),
    ]  # fmt: skip
    return f"| {name} | " + " | ".join(cells) + " |"


def _read(path: Path) -> list[dict]:
    return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("which", choices=[*SETS, "summary"])
    parser.add_argument("--takes", type=int, default=1000)
    parser.add_argument("--rows", type=Path, required=True)
    args = parser.parse_args()
    if args.which == "summary":
        print(summary(_read(args.rows)))
        return
    bank, first = SETS[args.which]
    done = {r["seed"] for r in _read(args.rows)}
    with args.rows.open("a") as file:
        for seed in range(first, first + args.takes):
            if seed not in done:
                file.write(json.dumps(take(bank, seed)) + "\n")
                file.flush()


if __name__ == "__main__":
    main()
