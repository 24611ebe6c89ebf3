"""Fuzz every reader of bytes from outside; the result is written to `bench/RESULTS.md`.

    OMP_NUM_THREADS=1 nice -n 15 python bench/fuzz/run.py --count 10000 [READER …]

Seeded: the same numbers give the same inputs. It can be stopped and goes on where it stopped
(`--state FILE`, a JSON Lines file with one line per input that is worth a word).
"""

import argparse
import json
import os
import queue
import subprocess
import sys
import threading
import time
from collections import Counter
from pathlib import Path

HERE = Path(__file__).parent
PIECE = 500
HANG_S = 10.0
START_S = 60.0
SLOW_S = 1.0


def watched(reader: str, first: int, count: int) -> "list[dict]":
    """What became of the inputs of one piece; a process that hangs or dies is replaced."""
    found: list[dict] = []
    at, last = first, first + count
    while at < last:
        process = subprocess.Popen(
            [sys.executable, str(HERE / "piece.py"), reader, str(at), str(last - at)],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
            start_new_session=True,
            env={**os.environ, "OMP_NUM_THREADS": "1"},
        )
        begun = _read(process, found)
        if begun is None:
            break
        at = begun + 1
    return found


def _read(process: "subprocess.Popen[str]", found: "list[dict]") -> "int | None":
    """Collect lines; the number over which the process was lost, None when it ended well."""
    lines: queue.Queue[str] = queue.Queue()
    assert process.stdout is not None
    threading.Thread(
        target=lambda: ([lines.put(x) for x in process.stdout], lines.put("")), daemon=True
    ).start()
    begun = None
    while True:
        try:
            line = lines.get(timeout=START_S if begun is None else HANG_S)
        except queue.Empty:
            _end(process)
            found.append({"n": begun, "s": HANG_S, "became": "a hang"})
            return begun if begun is not None else 1 << 60
        if not line:
            break
        said = json.loads(line)
        if "became" in said:
            found.append(said)
            begun = -1 - said["n"]
        else:
            begun = said["n"]
    status = process.wait()
    if status == 0:
        return None
    lost = begun if begun is not None and begun >= 0 else -1 - (begun or -1)
    found.append({"n": lost, "s": 0.0, "became": f"the process died ({status})"})
    return lost


def _end(process: "subprocess.Popen[str]") -> None:
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
