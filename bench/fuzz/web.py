"""Every bad input that `web_attacks` makes, through the whole application.

    PYTHONPATH=src nice -n 15 python bench/fuzz/web.py [--most 20000] [--seed 1] [KIND ...]

Prints what was found on the way, then a table by kind: how many were tried, refused, answered
otherwise, and the dearest in seconds of a processor.
"""

import argparse
import random
import tempfile
from collections import Counter, defaultdict
from pathlib import Path

from web_attacks import Outcome, Target, attacks, household, peak_bytes, tried

PAGES_EVERY = 200


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("kinds", nargs="*", help="first words of the names, all when none is given")
    parser.add_argument("--most", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, household(Path(folder) / "data") as told:
        target = Target(*told)
        target.learn()
        found: dict[str, list[Outcome]] = defaultdict(list)
        every = attacks(target, random.Random(asked.seed))
        chosen = [a for a in every if not asked.kinds or a.name.split()[0] in asked.kinds]
        for number, attack in enumerate(chosen[: asked.most], start=1):
            outcome = tried(target, attack)
            found[attack.name.split()[0]].append(outcome)
            if outcome.status >= 500 or outcome.after or outcome.cpu_s > 2:
                print(attack.name, attack.method, attack.path[:90], outcome.status, outcome.after,
                      f"{outcome.cpu_s:.1f} s", flush=True)  # fmt: skip
            if number % PAGES_EVERY == 0:
                _look(target, number)
        _look(target, len(chosen))
    print(f"most memory of a process: {peak_bytes() >> 20} MB")
    for kind, outcomes in sorted(found.items()):
        classes = Counter(f"{o.status // 100}xx" for o in outcomes)
        dearest = max(o.cpu_s for o in outcomes)
        print(f"| {kind} | {len(outcomes):,} | {dict(classes)} | {dearest:.1f} |")


def _look(target: Target, number: int) -> None:
    for page in target.pages:
        status = target.client.get(page).status_code
        if status >= 500:
            print(f"after {number}: {page} is {status}", flush=True)


if __name__ == "__main__":
    main()
