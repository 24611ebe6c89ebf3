"""Judge generated takes and write the table.

    python bench/listening/run.py tune  [--takes N] [--only INSTRUMENT] [--condition NAME]
    python bench/listening/run.py report --takes 6 --condition all --conditioned 2 --rivals --write

`tune` uses TimGM6mb and seeds below 1000; `report` FluidR3_GM and seeds from 60000, never looked at
while choosing a constant (an older table used 50000).
"""

import argparse
import resource
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2] / "src"))
from band import INSTRUMENTS, RATE, SETS, synth
from conditions import CONDITIONS, apply
from passages import from_corpus, invented
from performances import FAULTS, perform
from rivals import score_rivals
from scoring import score_take
from table import write

from coldtake.domain.criterion import default_criterion
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.melody.judge import judge
from coldtake.listening.sources.sound import Sound

CRITERION = default_criterion()


def faults_of(rng: np.random.Generator) -> tuple[str, ...]:
    """A third of the takes have no fault; the others one to three."""
    if rng.random() < 0.35:
        return ()
    return tuple(rng.choice(FAULTS, size=int(rng.integers(1, 4)), replace=False))


def take_of(name: str, bank: str, seed: int):
    """Passage, sound and truth of one take."""
    instrument = INSTRUMENTS[name]
    rng = np.random.default_rng(seed * 7919 + instrument.program)
    high = min(instrument.high, instrument.low + 30 + int(rng.integers(0, 12)))
    if rng.random() < 0.15:
        passage = from_corpus(seed, instrument.low, high)
    else:
        passage = invented(seed * 131 + instrument.program, instrument.low, instrument.high)
    played, truth = perform(passage, instrument, bank, seed, faults=faults_of(rng))
    return passage, synth(bank).render(instrument.program, played), truth


def run(args: argparse.Namespace):
    bank, first = SETS[args.which]
    conditions = list(CONDITIONS) if args.condition == ["all"] else args.condition
    rows: list[dict] = []
    for name in args.only or INSTRUMENTS:
        for k in range(args.skip, args.skip + args.takes):
            seed = first + k
            passage, clean, truth = take_of(name, bank, seed)
            heard = conditions if k < args.skip + args.conditioned else conditions[:1]
            for condition in heard:
                sound = apply(condition, clean, seed, truth.bpm)
                started = time.process_time()
                verdict = judge(
                    Sound(sound.astype(np.float32), RATE), JudgingRequest(passage, CRITERION)
                )
                cost = (time.process_time() - started) / (len(sound) / RATE)
                score = score_take(verdict, passage, truth)
                if args.rivals and condition == "clean":
                    score_rivals(score.counts, sound, truth)
                score.lists["cost"] = [cost]
                rows.append({
                    "instrument": name, "family": INSTRUMENTS[name].family, "seed": seed,
                    "condition": condition, "title": passage.title, "faults": truth.faults,
                    "score": score, "verdict": verdict,
                })  # fmt: skip
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("which", choices=SETS)
    parser.add_argument("--takes", type=int, default=8)
    parser.add_argument("--skip", type=int, default=0, help="leave out the first seeds")
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--condition", nargs="*", default=["clean"])
    parser.add_argument(
        "--conditioned",
        type=int,
        default=1000,
        help="how many takes are heard in every condition; the others in the first",
    )
    parser.add_argument("--write", action="store_true")
    parser.add_argument("--rivals", action="store_true")
    args = parser.parse_args()
    rows = run(args)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    write(rows, args, peak_mb=peak)


if __name__ == "__main__":
    main()
