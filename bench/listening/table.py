"""The table of figures, to the screen and to RESULTS.md."""

import numpy as np


def _pct(part: float, whole: float) -> str:
    return f"{100 * part / whole:.1f}" if whole else "-"


def _f1(c, ms: int, prefix: str = "") -> str:
    both = c[f"{prefix}reference"] + c[f"{prefix}estimated"]
    return _pct(2 * c[f"{prefix}matched {ms}"], both)


def row_of(name: str, score) -> list[str]:
    c = score.counts
    onset = np.abs(np.array(score.lists.get("onset", [np.nan]))) * 1e3
    over = np.array(score.lists.get("over rise", [np.nan])) * 1e3
    cents = np.abs(np.array(score.lists.get("cents", [np.nan])))
    faults, found = c["faults wrong"] + c["faults missed"], c["found wrong"] + c["found missed"]
    return [
        name, str(c["takes"]), _f1(c, 50), _f1(c, 25),
        f"{np.median(onset):.1f}/{np.percentile(onset, 95):.1f}", f"{np.percentile(over, 95):.1f}",
        f"{_pct(found, faults)} of {faults}", _pct(c["falsely accused"], c["right"]),
        str(c["falsely accused, faultless take"]),
        f"{_pct(c['extras both'], c['extras said'])}/{_pct(c['extras both'], c['extras true'])}",
        f"{c['restarts both']}/{c['restarts true']} ({c['restarts said']})",
        f"{np.median(cents):.1f}/{np.percentile(cents, 95):.1f}",
        f"{_pct(c['displaced both'], c['displaced said'])}/{_pct(c['displaced both'], c['displaced true'])}",
        f"{_pct(c['mistuned both'], c['mistuned said'])}/{_pct(c['mistuned both'], c['mistuned true'])}",
        _pct(c["abstained"], c["notes"]), answers(c),
        f"{np.mean(score.lists.get('cost', [0])):.3f}",
    ]  # fmt: skip


def answers(c) -> str:
    """Right, false yes, false no, undecided."""
    right = c["answer yes yes"] + c["answer no no"]
    unsure = c["answer yes cannot_tell"] + c["answer no cannot_tell"]
    return f"{right}, {c['answer no yes']}, {c['answer yes no']}, {unsure}"


HEAD = [
    "", "takes", "F1 50 ms", "F1 25 ms", "onset ms 50/95 %", "95 % over half rise, ms", "faults found %",
    "falsely accused %", "... in faultless takes", "extras P/R", "restarts found/true (said)",
    "cents 50/95 %", "displaced P/R", "mistuned P/R", "abstained %",
    "answer right, false yes, false no, undecided", "s per s",
]  # fmt: skip


def markdown(rows, key: str) -> str:
    from run import total

    names = list(dict.fromkeys(r[key] for r in rows))
    lines = [HEAD, ["---"] * len(HEAD)]
    lines += [row_of(n, total([r for r in rows if r[key] == n])) for n in names]
    lines.append(row_of("all", total(rows)))
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def worst(rows, count: int = 10) -> list[str]:
    def badness(row) -> float:
        c = row["score"].counts
        missed = c["faults wrong"] + c["faults missed"] - c["found wrong"] - c["found missed"]
        extra = abs(c["extras said"] - c["extras both"]) + abs(c["extras true"] - c["extras both"])
        again = (
            abs(c["restarts said"] - c["restarts both"]) + c["restarts true"] - c["restarts both"]
        )
        wrong_answer = c["answer yes no"] + c["answer no yes"] + 0.5 * c["answer yes cannot_tell"]
        return (
            2 * c["falsely accused"] + missed + extra + again + wrong_answer + 0.1 * c["abstained"]
        )

    out = []
    for row in sorted(rows, key=badness, reverse=True)[:count]:
        if badness(row) > 0:
            c = {k: v for k, v in row["score"].counts.items() if v and k in _SHOWN}
            out.append(
                f"{row['instrument']} {row['seed']} {row['condition']} ({row['title']}; "
                f"{', '.join(row['faults']) or 'no faults'}): {c} {row['verdict'].reason[:90]}"
            )
    return out


_SHOWN = {
    "falsely accused", "faults wrong", "found wrong", "faults missed", "found missed", "extras said",
    "extras both", "extras true", "restarts said", "restarts both", "restarts true", "abstained",
    "undecided notes",
}  # fmt: skip


def write(rows, args, peak_mb: float) -> None:
    for key in ("instrument", "condition"):
        if len({r[key] for r in rows}) > 1 or key == "instrument":
            print(markdown(rows, key), "\n")
    print("\n".join(worst(rows)))
    print(f"peak {peak_mb:.0f} MB")
    if args.rivals:
        from run import total

        from rivals import RIVALS

        c = total(rows).counts
        for name in RIVALS:
            print(name, _f1(c, 50, f"{name} "), _f1(c, 25, f"{name} "),
                  _pct(c[f"{name} accused"], c[f"{name} right"]))  # fmt: skip
