"""A diary of 1, 2, 5 and 10 years: start, pages, plan, log and memory, each against a reference.

    OMP_NUM_THREADS=1 PYTHONPATH=src python bench/scale/run.py --years 1 2 5 10

Without --years a player of one year is compared with an empty folder: that takes a minute or two.
Writes its section of bench/RESULTS.md, dated. Wall times are those of whoever waits; CPU times are
given beside them because they do not depend on what else the machine does. --data keeps the logs
that were made for another run on the same day.
"""

import argparse
import contextlib
import io
import json
import os
import platform
import re
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
import urllib.parse
import urllib.request
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from itertools import islice
from pathlib import Path

import numpy as np
import soundfile
from player import Player

from coldtake.domain.events import from_json
from coldtake.practice.state.log import Log
from coldtake.storage.database.log import SqlStore
from coldtake.storage.folder import TAKES_NAME, sqlite_url
from coldtake.storage.takes import FolderTakes

ROOT = Path(__file__).parents[2]
RESULTS = ROOT / "bench" / "RESULTS.md"
HEADING = "## Scale: a diary of years"
ASKED = 40  # times that each page is asked for
APPENDED = 2000
AT_ONCE = 20  # events in one delivery: what a session page sends after a slot
TICKS = os.sysconf("SC_CLK_TCK")
PAGES = {
    "settings (the reference)": "/settings",
    "pile": "/",
    "topic": "/topics/{topic}",
    "step": "/steps/{step}",
    "take": "/takes/{take}",
    "plan": "/tomorrow?day={day}",
    "plan, printed": "/tomorrow/print?day={day}",
    "calendar": "/tomorrow.ics?day={day}",
    "progress": "/progress",
    "outlook": "/outlook",
    "outlook, its dates": "/outlook/dates",
    "session": "/session",
    "session, its data": "/api/session",
}


class Clock:
    """Stands still; gives ids that nobody else gives."""

    def __init__(self) -> None:
        self.instant = datetime.now(UTC)

    def now(self) -> datetime:
        return self.instant

    def new_id(self) -> str:
        raise AssertionError("nothing is made here")


def built(folder: Path, years: int) -> None:
    """Tell the player's log into a folder, with the sound of the last take."""
    folder.mkdir(parents=True, exist_ok=True)
    store = SqlStore(sqlite_url(folder))
    events = Player(years, last=date.today() - timedelta(days=1)).events() if years else iter(())
    while batch := list(islice(events, 5000)):
        store.append(batch)
    store.close()
    if years:
        sound = io.BytesIO()
        tone = 0.2 * np.sin(2 * np.pi * 440 * np.arange(12 * 48000) / 48000)
        soundfile.write(sound, tone, 48000, format="FLAC")
        FolderTakes(folder / TAKES_NAME).keep(
            newest(folder, "take_judged", "take_id"), sound.getvalue()
        )


def rows_of(folder: Path, query: str) -> list[tuple]:
    with contextlib.closing(sqlite3.connect(folder / "coldtake.db")) as database:
        return database.execute(query).fetchall()


def newest(folder: Path, kind: str, field: str) -> str:
    query = f"SELECT body FROM log WHERE kind = '{kind}' ORDER BY sequence DESC LIMIT 1"
    return json.loads(rows_of(folder, query)[0][0])["data"][field]


def timed(work) -> tuple[float, float]:
    """(wall seconds, CPU seconds of this process)."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - wall, time.process_time() - cpu


def log_figures(folder: Path, events: int) -> dict[str, float]:
    """Reading all of the log, reading what is shelved, appending; against plain SQL."""
    rows_of(folder, "SELECT count(body) FROM log")  # into the page cache
    plain = timed(lambda: rows_of(folder, "SELECT sequence, id, body FROM log"))
    shelved = timed(lambda: Log(SqlStore(sqlite_url(folder)), Clock()).state())
    rows_of_shelf = "DELETE FROM computed"
    with contextlib.closing(sqlite3.connect(folder / "coldtake.db")) as database:
        database.execute(rows_of_shelf)
        database.commit()
    whole = timed(lambda: Log(SqlStore(sqlite_url(folder)), Clock()).state())
    return {
        "events": events,
        "MB": (folder / "coldtake.db").stat().st_size / 1e6,
        "whole_s": whole[0],
        "whole_cpu": whole[1],
        "whole_ratio": whole[1] / plain[1],
        "shelved_s": shelved[0],
        "shelved_cpu": shelved[1],
    }


def appended(folder: Path) -> tuple[float, float]:
    """(events a second through the log, the same rows by plain SQL in the same portions)."""
    query = f"SELECT body FROM log ORDER BY sequence DESC LIMIT {APPENDED}"
    events = [from_json(body) for (body,) in rows_of(folder, query)][::-1]
    with tempfile.TemporaryDirectory() as empty:
        log = Log(SqlStore(sqlite_url(Path(empty))), Clock())
        wall, _ = timed(
            lambda: [log.keep(events[i : i + AT_ONCE]) for i in range(0, APPENDED, AT_ONCE)]
        )
        log.store.close()
        rows = rows_of(Path(empty), "SELECT id, kind, at, day, body FROM log")
    with tempfile.TemporaryDirectory() as empty:
        plain, _ = timed(lambda: _plain_append(Path(empty) / "plain.db", rows))
    return len(events) / wall, len(rows) / plain


def _plain_append(path: Path, rows: list[tuple]) -> None:
    with contextlib.closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA journal_mode=WAL")
        database.execute("PRAGMA synchronous=FULL")
        database.execute(
            "CREATE TABLE log (id TEXT UNIQUE, kind TEXT, at TEXT, day TEXT, body TEXT)"
        )
        for start in range(0, len(rows), AT_ONCE):
            database.executemany(
                "INSERT INTO log VALUES (?,?,?,?,?)", rows[start : start + AT_ONCE]
            )
            database.commit()


class Served:
    """A server in a process of its own, as a player starts it."""

    def __init__(self, folder: Path) -> None:
        command = [sys.executable, "-m", "coldtake", "serve", "--data", str(folder)]
        environment = {**os.environ, "PYTHONPATH": str(ROOT / "src"), "OMP_NUM_THREADS": "1"}
        began = time.perf_counter()
        self.process = subprocess.Popen(
            [*command, "--port", "0", "--no-browser", "--json"],
            env=environment,
            stdout=subprocess.PIPE,
            text=True,
        )
        said = "".join(iter(self._line, "}\n"))
        self.address = json.loads(said + "}")["address"].rstrip("/")
        self.ask("/")
        self.start_s, self.start_cpu = time.perf_counter() - began, self.cpu()

    def _line(self) -> str:
        line = self.process.stdout.readline()
        if not line:
            raise SystemExit("the server did not start")
        return line

    def cpu(self) -> float:
        parts = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        return (int(parts[11]) + int(parts[12])) / TICKS

    def memory_mb(self, name: str) -> float:
        status = Path(f"/proc/{self.process.pid}/status").read_text()
        return int(re.search(rf"{name}:\s+(\d+)", status)[1]) / 1024

    def ask(self, path: str, form: dict[str, str] | None = None) -> float:
        """Milliseconds until the answer is there."""
        data = urllib.parse.urlencode(form).encode() if form else None
        request = urllib.request.Request(self.address + path, data, {"Origin": self.address})
        began = time.perf_counter()
        urllib.request.urlopen(request, timeout=120).read()
        return 1000 * (time.perf_counter() - began)

    def settled(self) -> None:
        """Wait until it has done what it does after its start."""
        still = 0
        while still < 3:
            before = self.cpu()
            time.sleep(1.0)
            still = still + 1 if self.cpu() - before < 0.05 else 0

    def close(self) -> None:
        self.process.terminate()
        self.process.wait(30)


@contextlib.contextmanager
def served(folder: Path) -> Iterator[Served]:
    server = Served(folder)
    try:
        yield server
    finally:
        server.close()


def asked(server: Served, path: str) -> tuple[float, float, float]:
    """(median ms, 95th percentile ms, CPU ms of one answer)."""
    server.ask(path)
    before = server.cpu()
    times = sorted(server.ask(path) for _ in range(ASKED))
    cpu = 1000 * (server.cpu() - before) / ASKED
    return statistics.median(times), times[int(0.95 * ASKED) - 1], cpu


def served_figures(folder: Path, years: int) -> dict:
    with served(folder) as server:  # after an update: the shelf knows nothing yet
        first_cpu = server.start_cpu
        server.settled()
    with served(folder) as server:
        start = (server.start_s, server.start_cpu)
        server.settled()
        found = {"first_cpu": first_cpu, "start_s": start[0], "start_cpu": start[1]}
        if years:
            day = (date.today() + timedelta(days=1)).isoformat()
            form = {"day": day, "starts_at": "17:00", "minutes": "60"}
            before = server.cpu()
            found["plan_ms"] = server.ask("/tomorrow", form)
            found["plan_cpu"] = 1000 * (server.cpu() - before)
            names = {
                "day": day,
                "take": newest(folder, "take_judged", "take_id"),
                "step": newest(folder, "slot_ended", "step_id"),
                "topic": newest(folder, "topic_placed", "topic_id"),
            }
            found["pages"] = {n: asked(server, p.format(**names)) for n, p in PAGES.items()}
        found["rss"], found["peak"] = server.memory_mb("VmRSS"), server.memory_mb("VmHWM")
    return found


def table(head: list[str], rows: list[list[str]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "| " + " | ".join("---" for _ in head) + " |"]
    return "\n".join([*lines, *("| " + " | ".join(row) + " |" for row in rows)])


def report(years: list[int], logs: dict, pages: dict, append: tuple[float, float]) -> str:
    empty = pages[0]
    named = [f"{y} year{'s' * (y > 1)}" for y in years]
    start = [
        ["events", "0", *(f"{logs[y]['events']:,}" for y in years)],
        ["database, MB", "0", *(f"{logs[y]['MB']:.0f}" for y in years)],
        ["start to first page, s (CPU s)", *(_pair(pages[y], "start") for y in (0, *years))],
        [
            "the same against an empty folder, CPU",
            "1",
            *(f"{pages[y]['start_cpu'] / empty['start_cpu']:.1f}" for y in years),
        ],
        ["state from the shelf, s (CPU s)", "", *(_pair(logs[y], "shelved") for y in years)],
        ["state from the whole log, s (CPU s)", "", *(_pair(logs[y], "whole") for y in years)],
        [
            "the same against a plain SELECT, CPU",
            "",
            *(f"{logs[y]['whole_ratio']:.1f}" for y in years),
        ],
        [
            "first start after an update, CPU s",
            f"{empty['first_cpu']:.1f}",
            *(f"{pages[y]['first_cpu']:.1f}" for y in years),
        ],
        [
            "plan, ms (CPU ms)",
            "",
            *(f"{pages[y]['plan_ms']:.0f} ({pages[y]['plan_cpu']:.0f})" for y in years),
        ],
        [
            "memory after all pages, MB (peak)",
            *(f"{pages[y]['rss']:.0f} ({pages[y]['peak']:.0f})" for y in (0, *years)),
        ],
    ]
    page_rows = [
        [name, *("{:.0f} / {:.0f} ({:.0f})".format(*pages[y]["pages"][name]) for y in years)]
        for name in PAGES
    ]
    load = os.getloadavg()
    return "\n\n".join(
        [
            HEADING,
            (
                f"`python bench/scale/run.py --years {' '.join(map(str, years))}`, {date.today()}. "
                f"{_machine()}; load average {load[0]:.1f}, {load[1]:.1f} "
                f"and {load[2]:.1f} over 1, 5 and 15 minutes on {os.cpu_count()} cores: where it "
                "is above the number of cores, wall times are those of a busy machine."
            ),
            table(["", "empty", *named], start),
            (
                f"Appending in deliveries of {AT_ONCE}: {append[0]:,.0f} events a second through "
                f"the log, {append[1]:,.0f} rows by plain SQL with the same safety "
                f"({append[1] / append[0]:.1f} times)."
            ),
            (
                f"Pages, {ASKED} times each, one after the other: median / 95th percentile in ms, "
                "in brackets CPU ms of one answer. The settings do not depend on the log: they are "
                "the reference."
            ),
            table(["page", *named], page_rows),
        ]
    )


def _pair(found: dict, name: str) -> str:
    return f"{found[name + '_s']:.2f} ({found[name + '_cpu']:.2f})"


def _machine() -> str:
    model = re.search(r"model name\s*:\s*(.+)", Path("/proc/cpuinfo").read_text())
    return f"{model[1] if model else platform.machine()}, Python {platform.python_version()}"


def written(section: str) -> None:
    """Put the section in place of its last, other studies' sections stay."""
    text = RESULTS.read_text(encoding="utf-8") if RESULTS.exists() else "# Results of the studies\n"
    kept = re.split(r"(?m)^(?=## )", text)
    parts = [part for part in kept if not part.startswith(HEADING)]
    RESULTS.write_text("".join([*parts[:-1], parts[-1].rstrip() + "\n\n", section, "\n"]))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--years", type=int, nargs="+", default=[1])
    parser.add_argument("--data", type=Path)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        data = arguments.data or Path(scratch)
        logs: dict = {}
        pages: dict = {}
        for years in (0, *arguments.years):
            folder = data / f"{years}-{date.today()}"
            if not folder.exists():
                built(folder, years)
            pages[years] = served_figures(folder, years)
            if years:
                [(events,)] = rows_of(folder, "SELECT count(*) FROM log")
                logs[years] = log_figures(folder, events)
            print(years, pages[years], logs.get(years), file=sys.stderr, flush=True)
        append = appended(data / f"{arguments.years[0]}-{date.today()}")
    section = report(arguments.years, logs, pages, append)
    written(section)
    print(section)
    return 0


if __name__ == "__main__":
    sys.exit(main())
