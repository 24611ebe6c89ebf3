"""Table from rows of wide.py: python wide_summary.py BASE < rows.jsonl

Every rule against BASE on the players that both had: ratio of means with the 95 % interval of
players drawn anew (1000 times), share of players won, whole topics; then the worst kind of law.
"""

import json
import sys
from collections import defaultdict

import numpy as np

Row = dict[str, float]
RNG = np.random.default_rng(1)


def ratio(pairs: np.ndarray) -> tuple[float, float, float]:
    """Ratio of means of (P, 2), and its 95 % limits by the bootstrap."""
    draws = RNG.integers(len(pairs), size=(1000, len(pairs)))
    sums = pairs[draws].sum(axis=1)
    low, high = np.quantile(sums[:, 0] / sums[:, 1], (0.025, 0.975))
    return float(pairs[:, 0].sum() / pairs[:, 1].sum()), float(low), float(high)


def line(rule: str, players: list[tuple[list[str], Row, Row]]) -> str:
    pairs = np.array([[mine["total"], base["total"]] for _, mine, base in players])
    topics = np.array([[mine["topics"], base["topics"]] for _, mine, base in players])
    mid, low, high = ratio(pairs)
    kinds: dict[str, list[int]] = defaultdict(list)
    for n, (law, _, _) in enumerate(players):
        for place, kind in enumerate(law):
            kinds[f"{place}{kind}"].append(n)
    by_kind = {k: pairs[n, 0].sum() / pairs[n, 1].sum() for k, n in kinds.items()}
    worst = min(by_kind, key=lambda k: by_kind[k])
    cpu = np.mean([m["cpu"] for _, m, _ in players])
    return (
        f"  {rule:28} {pairs[:, 0].mean():.3f}  x {mid:.3f} ({low:.3f}-{high:.3f})  "
        f"won {int((pairs[:, 0] > pairs[:, 1]).sum())} of {len(pairs)}  "
        f"topics {topics[:, 0].mean():.3f} x {topics[:, 0].sum() / topics[:, 1].sum():.2f}  "
        f"worst {by_kind[worst]:.3f} ({worst[1:]})  cpu {cpu:.1f}"
    )


def main() -> None:
    base = sys.argv[1]
    groups: dict[str, dict[int, dict[str, Row]]] = defaultdict(lambda: defaultdict(dict))
    for text in sys.stdin:
        row = json.loads(text)
        groups[row["scenario"]][row["seed"]][row["rule"]] = row
    for scenario, seeds in groups.items():
        print(f"\n{scenario}")
        whole = [p for p in seeds.values() if base in p]
        for rule in dict.fromkeys(name for p in whole for name in p):
            both = [(p[rule]["law"], p[rule], p[base]) for p in whole if rule in p]
            print(line(rule, both))  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
