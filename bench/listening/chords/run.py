"""Judge generated takes of chords and two hands, and print or write the table.

    python bench/listening/chords/run.py tune --takes 6 [--only piano] [--show]
    python bench/listening/chords/run.py report --takes 10 --rivals --write

`tune` plays TimGM6mb with seeds below 1000, `report` FluidR3_GM with seeds from 70000, never looked
at while choosing a constant.
"""

import argparse
import sys
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parents[2] / "src"))
sys.path.insert(0, str(HERE.parent))
from band import RATE, synth  # noqa: E402
from chord_scores import matched, score  # noqa: E402
from pieces import piece_of  # noqa: E402
from playing import FAULTS, perform_chords  # noqa: E402

from coldtake.domain.criterion import Criterion, NoStopsTest, NotesTest  # noqa: E402
from coldtake.listening.judging_request import JudgingRequest  # noqa: E402
from coldtake.listening.melody.judge import judge  # noqa: E402
from coldtake.listening.sources.sound import Sound  # noqa: E402

CRITERION = Criterion(tests=(NotesTest(), NoStopsTest()))
SETS = {"tune": ("timgm", 0), "report": ("fluid", 70_000)}


@dataclass(frozen=True)
class Player:
    """A General MIDI programme (from 0), its range, and what is played on it."""

    program: int
    low: int
    high: int
    kind: str


PLAYERS = {
    "piano": Player(0, 28, 96, "hands"),
    "guitar": Player(24, 40, 79, "strings"),
    "steel guitar": Player(25, 40, 79, "strings"),
    "accordion": Player(21, 41, 88, "hands"),
    "choir": Player(52, 41, 79, "choir"),
}
STRANGE = {  # in the tuning bank, but never trained on
    "electric piano": Player(4, 34, 90, "hands"),
    "church organ": Player(19, 36, 90, "hands"),
    "bandoneon": Player(23, 41, 88, "hands"),
    "jazz guitar": Player(26, 40, 79, "strings"),
    "harp": Player(46, 34, 90, "strings"),
    "voices": Player(53, 41, 79, "choir"),
}


def take_of(name: str, bank: str, seed: int):
    """Passage, sound and truth of one take."""
    player = {**PLAYERS, **STRANGE}[name]
    rng = np.random.default_rng([seed, player.program])
    passage = piece_of(seed * 31 + player.program, player.kind, player.low, player.high)
    faults: tuple[str, ...] = ()
    if rng.random() > 0.35:
        faults = tuple(str(f) for f in rng.choice(FAULTS, size=int(rng.integers(2, 6))))
    played, truth = perform_chords(
        passage, player.program, bank, seed, low=player.low, high=player.high, faults=faults
    )
    sound = synth(bank).render(player.program, played)
    peak = float(np.abs(sound).max())
    sound = sound * np.float32(10 ** (rng.uniform(-14, -3) / 20) / max(peak, 1e-6))
    noise = rng.normal(0, 10 ** (-rng.uniform(55, 70) / 20), len(sound))
    return passage, (sound + noise).astype(np.float32), truth


def heard_blindly(sound: Sound) -> list[tuple[float, float]]:
    """The network's own notes, told nothing of the passage."""
    from coldtake.listening.chords.note_network import begun_in, listen, no_page
    from coldtake.listening.chords.spectrum import prepared, spectrum

    view = spectrum(prepared(sound))
    heard = listen(view, no_page(view.shape[1]))
    return [(b.onset_s, float(b.pitch)) for b in begun_in(heard.onset, 0.5)]


def run(args: argparse.Namespace) -> dict[str, tuple[Counter, dict]]:
    """Counts and lists by instrument."""
    bank, first = SETS[args.which]
    out = {}
    for name in args.only or (STRANGE if args.strange else PLAYERS):
        c: Counter = Counter()
        lists: dict = {}
        for seed in range(first + args.skip, first + args.skip + args.takes):
            passage, samples, truth = take_of(name, bank, seed)
            begun = time.process_time()
            verdict = judge(Sound(samples, RATE), JudgingRequest(passage, CRITERION))
            c["cost ms"] += round(1e3 * (time.process_time() - begun))
            c["sound ms"] += round(1e3 * len(samples) / RATE)
            own, more = score(verdict, passage, truth)
            c.update(own)
            for key, values in more.items():
                lists.setdefault(key, []).extend(values)
            if args.rivals and not truth.restarts:
                sound = Sound(samples, RATE)
                matched(c, heard_blindly(sound), truth, "blind ")
            if args.show:
                print(name, seed, passage.title, truth.faults, verdict.answer.value,
                      more["lost"], more["accused"], [r.to_beat for r in verdict.restarts],
                      [(n.words, round(n.onset_s, 2)) for n in verdict.notes if n.id[0] == "e"],
                      [round(x[0], 2) for x in truth.extras], verdict.reason[:90])  # fmt: skip
        out[name] = (c, lists)
        print(line(name, c, lists), flush=True)
    return out


def f1(c: Counter, ms: int, prefix: str = "") -> float:
    return 200.0 * c[f"{prefix}matched {ms}"] / max(
        c[f"{prefix}reference"] + c[f"{prefix}estimated"], 1
    )  # fmt: skip


def share(a: float, b: float) -> str:
    return f"{100 * a / b:.1f}" if b else "-"


def line(name: str, c: Counter, lists: dict) -> str:
    """One line of figures."""
    faults = sum(c[f"faults {k}"] for k in ("wrong", "missed", "octave"))
    found = sum(c[f"found {k}"] for k in ("wrong", "missed", "octave"))
    right = c["answer yes yes"] + c["answer no no"]
    no, yes = c["answer yes no"], c["answer no yes"]
    error = 1e3 * np.abs(lists.get("onset") or [0.0])
    return " | ".join([
        f"{name:14}", f"F1@50 {f1(c, 50):.1f} @25 {f1(c, 25):.1f}",
        f"found {share(found, faults)} of {faults}",
        f"octaves {c['found octave']}/{c['faults octave']}",
        f"missed {c['found missed']}/{c['faults missed']}",
        f"false {c['falsely accused']} of {c['right']} = {share(c['falsely accused'], c['right'])}",
        f"in faultless takes {c['falsely accused, faultless take']}",
        f"abstained {share(c['abstained'], c['notes'])}",
        f"extras said {c['extras said']} true {c['extras true']} both {c['extras both']}",
        f"restarts {c['restarts both']}/{c['restarts true']} said {c['restarts said']}",
        f"late said {c['displaced said']} true {c['displaced true']} both {c['displaced both']}",
        f"verdict right {right}, false no {no}, false yes {yes} of {c['takes']}",
        f"onset {np.median(error):.0f}/{np.quantile(error, 0.95):.0f} ms",
        f"{c['cost ms'] / max(c['sound ms'], 1):.3f} s/s",
        *([f"blind {f1(c, 50, 'blind '):.1f}"]
          if c["blind reference"] else []),
    ])  # fmt: skip


def total(parts: dict[str, tuple[Counter, dict]]) -> tuple[Counter, dict]:
    c: Counter = Counter()
    lists: dict = {}
    for own, more in parts.values():
        c.update(own)
        for key, values in more.items():
            lists.setdefault(key, []).extend(values)
    return c, lists


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("which", choices=SETS)
    parser.add_argument("--takes", type=int, default=6)
    parser.add_argument("--skip", type=int, default=0)
    parser.add_argument("--only", nargs="*", default=[])
    parser.add_argument("--strange", action="store_true", help="timbres never trained on")
    parser.add_argument("--rivals", action="store_true")
    parser.add_argument("--show", action="store_true", help="every take, for tuning only")
    args = parser.parse_args()
    parts = run(args)
    print(line("all", *total(parts)))


if __name__ == "__main__":
    main()
