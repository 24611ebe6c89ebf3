"""Summary of outlook_study.py: python outlook_summary.py < rows.jsonl"""

import json
import sys
from collections.abc import Callable

import numpy as np

Row = dict[str, object]


def within(row: Row, limits: str) -> bool:
    low, high = row[limits]  # type: ignore[misc]
    return bool(low <= row["clean"] <= high)


def pieces_within(row: Row) -> float:
    return float(np.mean([p[0] for p in row["pieces"]]))  # type: ignore[attr-defined]


def ready_gap(row: Row) -> float:
    """Mean over pieces of (said chance that all steps are clean - whether they were)."""
    rows = zip(row["pieces"], row["sizes"], strict=True)  # type: ignore[call-overload]
    return float(np.mean([ready - (came == size) for (_, ready, came), size in rows]))


def off(row: Row, told: str, came: str) -> float:
    return abs(float(row[told]) - float(row[came]))  # type: ignore[arg-type]


def error(told: str, came: str) -> Callable[[Row], float]:
    return lambda row: off(row, told, came)


def shown(rows: list[Row], measure: Callable[[Row], float]) -> str:
    """Mean with limits of 95 %, players drawn anew 1000 times."""
    values = np.array([measure(r) for r in rows], dtype=float)
    rng = np.random.default_rng(1)
    means = [rng.choice(values, len(values)).mean() for _ in range(1000)]
    low, high = np.quantile(means, (0.025, 0.975))
    return f"{values.mean():.3f} ({low:.3f} to {high:.3f})"


def ratio(rows: list[Row], came: str) -> str:
    """Mean error of the outlook over that of the true parameters."""
    ours = np.array([off(r, "told", came) for r in rows])
    theirs = np.array([off(r, "known", came) for r in rows])
    rng = np.random.default_rng(1)
    drawn = rng.integers(len(rows), size=(1000, len(rows)))
    ratios = ours[drawn].mean(axis=1) / theirs[drawn].mean(axis=1)
    low, high = np.quantile(ratios, (0.025, 0.975))
    return f"{ours.mean() / theirs.mean():.2f} ({low:.2f} to {high:.2f})"


def main() -> None:
    rows = [json.loads(line) for line in sys.stdin]
    for law in sorted({r["law"] for r in rows}, reverse=True):
        own = [r for r in rows if r["law"] == law]
        again = [r for r in own if r["futures"]]
        print(f"{law}: {len(own)} players, {np.mean([r['clean'] for r in own]):.1f} steps clean")
        print("  date covered      ", shown(own, lambda r: within(r, "limits")))
        print("  its width         ", shown(own, lambda r: r["limits"][1] - r["limits"][0]))
        print("  pieces covered    ", shown(own, pieces_within))
        print("  pace so far covers", shown(own, lambda r: within(r, "pace_limits")))
        print("  told - expected   ", shown(own, lambda r: r["told"] - r["expected"]))
        print("  told ready - ready", shown(own, ready_gap))
        for came in ("clean", "expected"):
            print(f"  mean error, number {came}: outlook", shown(own, error("told", came)))
            print("    pace so far     ", shown(own, error("pace", came)))
            if again:
                print(f"    {len(again)} players lived again: true parameters", end=" ")
                print(shown(again, error("known", came)), "ratio", ratio(again, came))
        print("  CPU of the outlook, s", shown(own, lambda r: r["cpu"]))


if __name__ == "__main__":
    main()
