"""Lines and branches that the tests reached, a line for each room; part of `make coverage`.

What runs in worker processes (`subprocesses/child_main.py`, the workers of music and listening) is
not seen.
"""

import json
import subprocess
import sys
import tempfile
from collections import defaultdict
from pathlib import Path

NUMBERS = ("covered_lines", "num_statements", "covered_branches", "num_branches")


def main() -> int:
    with tempfile.TemporaryDirectory() as folder:
        report = Path(folder) / "coverage.json"
        command = [sys.executable, "-m", "coverage", "json", "-q", "-o", str(report)]
        subprocess.run(command, check=True)
        files = json.loads(report.read_text(encoding="utf-8"))["files"]
    rooms: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0, 0])
    for name, told in files.items():
        inside = Path(name).parts[Path(name).parts.index("coldtake") + 1 :]
        for room in (inside[0].removesuffix(".py"), "all"):
            counted = [told["summary"][n] for n in NUMBERS]
            rooms[room] = [a + b for a, b in zip(rooms[room], counted, strict=True)]
    sys.stdout.write("| room | lines | branches |\n| --- | --- | --- |\n")
    for room, (lines, of_lines, branches, of_branches) in sorted(rooms.items()):
        sys.stdout.write(
            f"| {room} | {share(lines, of_lines)} | {share(branches, of_branches)} |\n"
        )
    return 0


def share(part: int, whole: int) -> str:
    return f"{100 * part / whole:.0f} % of {whole:,}" if whole else "-"


if __name__ == "__main__":
    sys.exit(main())
