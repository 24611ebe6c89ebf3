"""A scripted session with uploads; its server is killed (SIGKILL) at random moments.

PYTHONPATH=src python bench/faults/kills.py [kills]

Each server is `coldtake serve` in a process of its own, forked so that it starts at once. Events
and takes are sent as the session page sends them: in order, until acknowledged, and again after
each start. At the end the log is read: what was acknowledged is there, once, and whole.
"""

import http.client
import io
import json
import os
import random
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlencode, urlsplit

import numpy as np
import soundfile

from coldtake.bootstrap import SystemClock, open_services
from coldtake.cli import serve as _serve  # noqa: F401 - imported once, before the forks
from coldtake.cli.entry import main
from coldtake.domain import events as ev
from coldtake.domain.take import Answer, Judge
from coldtake.web.app import create_app as _create_app  # noqa: F401

sys.path[:0] = [str(Path(__file__).parents[2] / "tests")]
from making import step, topic  # noqa: E402

SEED, WITHIN_S, PATIENCE_S = 20271129, 1.0, 60.0
SERVE = ["serve", "--no-browser", "--port", "0", "--json"]
SOUND = np.random.default_rng(SEED).standard_normal(8000).astype("float32") / 8


@dataclass
class Page:
    """What a page holds until it is acknowledged, and what was."""

    clock: SystemClock
    chance: random.Random
    events: dict[str, ev.Event] = field(default_factory=dict)
    takes: dict[str, bytes] = field(default_factory=dict)
    acknowledged: dict[str, str] = field(default_factory=dict)

    def play(self) -> None:
        """Answer some tries; now and then record a take."""
        for _ in range(self.chance.randint(1, 4)):
            data = ev.TryAnswered(
                try_id=self.clock.new_id(), step_id=step().id, answer=Answer.YES, judge=Judge.PLAYER
            )
            now = self.clock.now()
            one = ev.Event(id=self.clock.new_id(), at=now, day=now.date(), data=data)
            self.events[one.id] = one
        if self.chance.random() < 0.4:
            wav = io.BytesIO()
            soundfile.write(wav, SOUND * self.chance.random(), 8000, format="WAV")
            self.takes[self.clock.new_id()] = wav.getvalue()

    def send(self, address: str) -> None:
        """Send what waits; raises OSError or HTTPException once the server is gone."""
        connection = http.client.HTTPConnection(urlsplit(address).netloc, timeout=PATIENCE_S)
        body = b"[" + b",".join(ev.to_json(e) for e in self.events.values()) + b"]"
        told = _asked(connection, "POST", "/api/events", body)
        assert not told["refused"], told
        assert not told["waiting"], told
        for one in told["kept"]:
            self.acknowledged[one] = "event"
            self.events.pop(one, None)
        for take_id, sound in list(self.takes.items()):
            query = urlencode({"step_id": step().id, "judge": "no", "cold": "no"})
            _asked(connection, "PUT", f"/api/takes/{take_id}?{query}", sound)
            self.acknowledged[take_id] = "take"
            del self.takes[take_id]


def _asked(connection: http.client.HTTPConnection, method: str, path: str, body: bytes) -> dict:
    connection.request(method, path, body, {"Content-Type": "application/octet-stream"})
    answer = connection.getresponse()
    told = json.loads(answer.read())
    assert answer.status == 200, told
    return told


def started(data: Path) -> tuple[int, str]:
    """Start a server in a process of its own; return its number and its address."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.dup2(writing, 1)
        os._exit(main([*SERVE, "--data", str(data)]))
    os.close(writing)
    text = b""
    with os.fdopen(reading, "rb") as said:
        while line := said.readline():
            text += line
            if line.startswith(b"}"):
                return child, json.loads(text)["address"]
    raise AssertionError(f"the server did not start: {text!r}")


def run(kills: int) -> dict[str, float]:
    """Send all the time, kill the server at random moments, count at the end."""
    chance, begun = random.Random(SEED), time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder) / "data"
        services = open_services(data)
        services.append(ev.TopicKept(topic=topic()), ev.StepKept(step=step()))
        services.close()
        page, broken = Page(SystemClock(), chance), 0
        for _ in range(kills):
            server, address = started(data)
            end = threading.Timer(chance.uniform(0.0, WITHIN_S), os.kill, [server, signal.SIGKILL])
            end.start()
            try:
                while True:
                    page.play()
                    page.send(address)
            except (OSError, http.client.HTTPException, ValueError):
                broken += bool(page.events or page.takes)
            os.waitpid(server, 0)
            end.join()
        server, address = started(data)
        page.send(address)
        os.kill(server, signal.SIGKILL)
        os.waitpid(server, 0)
        return {"kills": kills, "cut off": broken, **counted(data, page)} | {
            "seconds": round(time.monotonic() - begun)
        }


def counted(data: Path, page: Page) -> dict[str, float]:
    """Open the folder once more and hold it against what was acknowledged."""
    services = open_services(data)
    ids = Counter(event.id for _, event in services.store.events())
    state = services.state()
    takes = Counter(
        event.data.take_id
        for _, event in services.store.events()
        if isinstance(event.data, ev.TakeRecorded)
    )
    events = [one for one, kind in page.acknowledged.items() if kind == "event"]
    sounds = [one for one, kind in page.acknowledged.items() if kind == "take"]
    found = services.care.check()
    result = {
        "events": len(events),
        "takes": len(sounds),
        "missing": sum(one not in ids for one in events)
        + sum(t not in state.takes for t in sounds),
        "doubled": sum(n - 1 for n in (*ids.values(), *takes.values())),
        "damaged": len(found.damaged) + len(found.missing),
        "repairs": len(services.care.repairs()),
    }
    services.close()
    return result


if __name__ == "__main__":
    print(json.dumps(run(int(sys.argv[1]) if len(sys.argv) > 1 else 100)))
