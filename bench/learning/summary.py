"""Table from rows of table.py: python bench/learning/summary.py < rows.jsonl

Every rule is compared with triage on the players that both had, differences paired.
Intervals: 95 %, normal.
"""

import json
import sys
from collections import defaultdict

import numpy as np

TRIAGE = "triage, longest untouched first"
Row = dict[str, float]


def half_width(values: np.ndarray) -> float:
    """Half of a 95 % interval of the mean, normal."""
    return float(1.96 * values.std(ddof=1) / np.sqrt(len(values))) if len(values) > 1 else np.nan


def line(rule: str, players: list[dict[str, Row]]) -> str:
    """One rule: score, ratio to triage, paired difference, players won, whole topics."""
    mine, other = (
        np.array([[p[name]["total"], p[name]["topics"]] for p in players])
        for name in (rule, TRIAGE)
    )
    gain = mine - other
    ratio, topics = mine.sum(axis=0) / other.sum(axis=0)
    return (
        f"  {rule:34} {mine[:, 0].mean():.3f}  x {ratio:.3f}  "
        f"{gain[:, 0].mean():+.4f} ± {half_width(gain[:, 0]):.4f}  "
        f"won {int((gain[:, 0] > 0).sum())} of {len(players)}  "
        f"topics {mine[:, 1].mean():.3f} x {topics:.2f}"
    )


def main() -> None:
    groups: dict[tuple[str, str], dict[int, dict[str, Row]]] = defaultdict(dict)
    for text in sys.stdin:
        row = json.loads(text)
        group = groups[row["scenario"], row["law"]]
        group.setdefault(row["seed"], {})[row["rule"]] = row
    for (scenario, law), seeds in groups.items():
        whole = [p for p in seeds.values() if TRIAGE in p]
        print(f"\n{scenario}, {law}")
        for rule in dict.fromkeys(name for p in whole for name in p):
            print(line(rule, [p for p in whole if rule in p]))


if __name__ == "__main__":
    main()
