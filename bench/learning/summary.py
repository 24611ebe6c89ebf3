"""Table from rows of table.py: python bench/learning/summary.py < rows.jsonl"""

import json
import sys
from collections import defaultdict

import numpy as np

PLANNER, TRIAGE = "planner, log only", "triage, longest untouched first"


def half_width(values: np.ndarray) -> float:
    """Half of a 95 % interval of the mean, normal."""
    return float(1.96 * values.std(ddof=1) / np.sqrt(len(values))) if len(values) > 1 else np.nan


def main() -> None:
    players: dict[tuple[str, str], dict[int, dict[str, dict]]] = defaultdict(dict)
    for line in sys.stdin:
        row = json.loads(line)
        group = players[row["scenario"], row["law"]]
        group.setdefault(row["seed"], {})[row["rule"]] = row
    for (scenario, law), seeds in players.items():
        whole = [p for p in seeds.values() if PLANNER in p]
        print(f"\n{scenario}, {law}: {len(whole)} players")
        for rule in whole[0]:
            totals = np.array([p[rule]["total"] for p in whole])
            topics = np.mean([p[rule]["topics"] for p in whole])
            print(
                f"  {rule:34} {totals.mean():.3f} ± {half_width(totals):.3f}  topics {topics:.3f}"
            )
        gain = np.array([p[PLANNER]["total"] - p[TRIAGE]["total"] for p in whole])
        ratio = 1.0 + gain.sum() / sum(p[TRIAGE]["total"] for p in whole)
        wins = int((gain > 0).sum())
        print(
            f"  planner - triage {gain.mean():+.4f} ± {half_width(gain):.4f}, ratio {ratio:.3f}",
            end="",
        )
        print(f", wins {wins} of {len(whole)}")


if __name__ == "__main__":
    main()
