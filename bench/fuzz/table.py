"""The result of `run.py` as a section of bench/RESULTS.md: `table.py STATE`.

What was found stands in `found.md`, written by hand.
"""

import json
import os
import platform
import re
import sys
from collections import Counter
from datetime import date
from pathlib import Path

HERE = Path(__file__).parent
RESULTS = HERE.parent / "RESULTS.md"
HEADING = "## Fuzzing of the readers"
NAMES = {
    "musicxml": "MusicXML, also compressed",
    "mei": "MEI",
    "abc": "ABC, also books of tunes",
    "midi": "MIDI",
    "audio": "audio (9 kinds of libsndfile, 4 of FFmpeg)",
    "archive": "archive, restored into an empty folder",
    "chords": "changes and chord symbols",
    "events": "JSON of the session page",
}


def totals(state: Path) -> dict[str, tuple[int, Counter[str], float]]:
    found: dict[str, tuple[int, Counter[str], float]] = {}
    for line in map(json.loads, state.read_text(encoding="utf-8").splitlines()):
        count, became, slowest = found.get(line["reader"], (0, Counter(), 0.0))
        new = Counter(line["became"])
        slow = max(slowest, line["slowest"])
        found[line["reader"]] = (count + line["count"], became + new, slow)
    return found


def section(state: Path) -> str:
    rows = [
        f"| {NAMES[name]} | {count:,} | {became['read']:,} | {became['refused']:,} | "
        f"{count - became['read'] - became['refused']} | {slowest:.1f} |"
        for name, (count, became, slowest) in totals(state).items()
    ]
    lines = [
        f"{HEADING}\n",
        f"`bench/fuzz/run.py`, {date.today()}, {platform.machine()}, {os.cpu_count()} cores.",
        "Every input in a process with 1 GB of memory; 10 s of processor time would be a hang.\n",
        "| reader | inputs | read | refused in words | anything else | slowest, CPU s |",
        "| --- | --- | --- | --- | --- | --- |",
        *rows,
        "",
        (HERE / "found.md").read_text(encoding="utf-8"),
    ]
    return "\n".join(lines)


def main() -> None:
    text = RESULTS.read_text(encoding="utf-8") if RESULTS.exists() else "# Results of the studies\n"
    parts = re.split(r"(?m)^(?=## )", text)
    kept = [part.rstrip() + "\n" for part in parts if not part.startswith(HEADING)]
    RESULTS.write_text("\n".join([*kept, section(Path(sys.argv[1]))]), encoding="utf-8")


if __name__ == "__main__":
    main()
