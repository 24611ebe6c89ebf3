"""Fuzz every reader of bytes from outside; the result is written to `bench/RESULTS.md`.

    OMP_NUM_THREADS=1 nice -n 15 python bench/fuzz/run.py --count 10000 [READER …]

Seeded: the same numbers give the same inputs. It can be stopped and goes on where it stopped
(`--state FILE`, a JSON Lines file with one line per input that is worth a word).
"""

import argparse
import contextlib
import json
import os
import queue
import subprocess
import sys
import threading
import time
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

HERE = Path(__file__).parent
PIECE = 500
HANG_S = 10.0
START_S = 120.0
WAIT_MOST_S = 180.0
SLOW_S = 1.0


def watched(reader: str, first: int, count: int) -> "list[dict]":
    """What became of the inputs of one piece; a process that hangs or dies is replaced."""
    found: list[dict] = []
    while len(found) < count:
        at = first + len(found)
        process = subprocess.Popen(
            [sys.executable, str(HERE / "piece.py"), reader, str(at), str(first + count - at)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            start_new_session=True,
            env={**os.environ, "OMP_NUM_THREADS": "1"},
        )
        try:
            lost = _read(process, found)
        finally:
            _end(process)
        if lost:
            found.append({"n": first + len(found), "s": 0.0, "became": lost})
    return found


def _read(process: "subprocess.Popen[str]", found: "list[dict]") -> str:
    """Collect what became of each input; how the process was lost, if it was."""
    lines: queue.Queue[str] = queue.Queue()
    assert process.stdout is not None
    threading.Thread(target=_pass_on, args=(process.stdout, lines), daemon=True).start()
    patience = START_S
    while True:
        line = _next(process.pid, lines, patience)
        if line is None:
            return "a hang"
        if not line:
            status = process.wait()
            return f"the process died ({status})" if status else ""
        said = json.loads(line)
        patience = HANG_S
        if "became" in said:
            found.append(said)


def _pass_on(source: Iterable[str], lines: "queue.Queue[str]") -> None:
    for line in source:
        lines.put(line)
    lines.put("")


def _next(pid: int, lines: "queue.Queue[str]", patience: float) -> "str | None":
    """The next line; None for a hang. On a busy machine the time that it worked is what counts."""
    began, worked = time.monotonic(), _cpu_s(pid)
    while True:
        try:
            return lines.get(timeout=1.0)
        except queue.Empty:
            waited = time.monotonic() - began
            if waited > WAIT_MOST_S or (waited > patience and _cpu_s(pid) - worked > patience):
                return None


def _cpu_s(pid: int) -> float:
    """Processor time of a process [s]; of a gone one without end."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    except OSError:
        return float("inf")
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _end(process: "subprocess.Popen[str]") -> None:
    with contextlib.suppress(ProcessLookupError):
        os.killpg(process.pid, 9)
    process.wait()


def run(reader: str, count: int, state: Path) -> Counter[str]:
    """All pieces of one reader that are not done yet."""
    done, totals = _known(state, reader)
    while done < count:
        began = time.time()
        piece = min(PIECE, count - done)
        found = watched(reader, done, piece)
        became = Counter(f["became"] for f in found)
        odd = [f for f in found if f["became"] not in ("read", "refused") or f["s"] > SLOW_S]
        line = {"reader": reader, "first": done, "count": piece, "became": became, "odd": odd}
        line["s"] = round(time.time() - began, 1)
        line["lost"] = sum("engraver" in f for f in found)
        line["slowest"] = max((f["s"] for f in found), default=0.0)
        with state.open("a", encoding="utf-8") as file:
            file.write(json.dumps(line) + "\n")
        done += piece
        totals += became
        print(f"{reader} {done}: {dict(totals)}", flush=True)
    return totals


def _known(state: Path, reader: str) -> tuple[int, Counter[str]]:
    done, totals = 0, Counter[str]()
    if state.exists():
        for line in map(json.loads, state.read_text(encoding="utf-8").splitlines()):
            if line["reader"] == reader:
                done = line["first"] + line["count"]
                totals += Counter(line["became"])
    return done, totals


def main() -> None:
    from fuzz_seeds import SEEDS

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("readers", nargs="*", default=list(SEEDS))
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--state", type=Path, default=Path("fuzz.jsonl"))
    arguments = parser.parse_args()
    for reader in arguments.readers:
        run(reader, arguments.count, arguments.state)


if __name__ == "__main__":
    main()
