# ruff: noqa: E501 - tables of bytes
"""Bad inputs for the whole application: forms, queries, JSON, headers and files, from one seed.

The forms are those that the pages themselves show; every field in turn gets what nobody expects.
What a bad answer is: a status of 500 or more, more than `MOST_CPU_S` of processor time (workers'
included), a page that does not open any more afterwards.
"""

import json
import os
import random
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import parse_qsl, quote, urlencode, urlsplit

MOST_CPU_S = 10.0
MOST_BYTES = 1_000_000_000
FORM = "application/x-www-form-urlencoded"
DEEP = 100_000
ODD_TEXTS = (
    "", " ", "0", "-1", "1", "1e9", "1e308", "-1e999", "nan", "inf", "1_0", "٣", "½", "0x10",
    str(2**31), str(2**63), str(-(2**63) - 1), "9" * 400, "9" * 5000, "0001-01-01", "9999-12-31",
    "2027-02-30", "2027-W01-1", "24:00", "23:59:59.9999999", "\x00", "\ud800".encode("utf-8", "surrogatepass").decode("latin-1"),
    "é♭𝄫\u202e", "a" * 100_000, "\n" * 2000, "../../etc/passwd", "%00", "{{7*7}}", "<script>", "'\"",
    "=1+1", "null", "[]", "{}", "[" * DEEP, '{"a":' * 5000, "true", "P1D", "C#", "H", "Cb" * 50, "4/0",
    "0/4", "99/1", "1/99999999999", "|" * 3000, "Cmaj7 " * 3000, "(" * 3000, "00000000-0000-0000-0000-000000000000",
    "http://127.0.0.1:9/", "//x", "/\\x",
)  # fmt: skip
ODD_JSON = (
    b"", b"null", b"0", b"[]", b"{}", b"[[]]", b'""', b"\xff", b"\xed\xa0\x80", b'"\\ud800"',
    b"[" * DEEP, b'{"a":' * DEEP, b"[" * DEEP + b"]" * DEEP, b"{" * 1000, b"1e999", b"NaN", b"-", b"9" * 5000,
    b'{"kind":"x"}', b'[{"id":1}]', b"[1,2,3]", b"[null]", b'[""]', b"[{}]", b"[{},{}]", b'[{"id":"x"}]',
    "[]".encode("utf-16"), b"[]\x00", b"//", b"[] []",
)  # fmt: skip
ODD_VALUES = (
    None, True, 0, -1, 2**31, 2**63, -(2**63) - 1, 10**400, 1e308, "", "x", "\x00", "nan", "9" * 5000,
    [], {}, [[]], [None], {"a": 1}, "2027-01-12", "9999-12-31", "0001-01-01T00:00:00Z",
    "9999-12-31T23:59:59-14:00", "x" * 100_000,
)  # fmt: skip


@dataclass(frozen=True)
class Attack:
    """One request."""

    name: str
    method: str
    path: str
    content: bytes | None = None
    headers: dict[str, str] = field(default_factory=dict)
    files: tuple[tuple[str, tuple[str, bytes]], ...] = ()
    data: tuple[tuple[str, str], ...] = ()


@dataclass
class Form:
    """A form as a page shows it."""

    action: str
    method: str
    fields: list[tuple[str, str]] = field(default_factory=list)
    files: list[str] = field(default_factory=list)


class _Forms(HTMLParser):
    """Collects the forms and links of a page."""

    def __init__(self, path: str) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self.links: set[str] = set()
        self._path = path
        self._area = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = {name: value or "" for name, value in attrs}
        for name in ("href", "src", "hx-get", "data-src"):
            if told.get(name, "").startswith("/") and not told[name].startswith("/static"):
                self.links.add(told[name].partition("#")[0])
        if tag == "form":
            self.forms.append(Form(told.get("action") or self._path, told.get("method", "get")))
        elif told.get("hx-post"):
            self.forms.append(Form(told["hx-post"], "post"))
        if not self.forms or not told.get("name"):
            return
        if tag == "input" and told.get("type") == "file":
            self.forms[-1].files.append(told["name"])
        elif tag in ("input", "select", "textarea", "button"):
            self.forms[-1].fields.append((told["name"], told.get("value", "")))


class Target:
    """The application with a small household of data, and what its pages offer."""

    def __init__(self, client, services) -> None:
        self.client = client
        self.services = services
        self.pages: list[str] = []
        self.forms: dict[tuple[str, str, tuple[str, ...]], Form] = {}
        self.queries: dict[str, list[tuple[str, str]]] = {}

    def learn(self, start: str = "/", most: int = 120) -> None:
        """Walk through the pages; of each kind of address three."""
        seen: dict[str, int] = {}
        waiting = [start]
        while waiting and len(self.pages) < most:
            address = waiting.pop(0)
            shape = _shape(address)
            if address in self.pages or seen.get(shape, 0) >= 3:
                continue
            seen[shape] = seen.get(shape, 0) + 1
            answer = self.client.get(address)
            self.pages.append(address)
            path, _, query = address.partition("?")
            if query:
                self.queries.setdefault(path, parse_qsl(query, keep_blank_values=True))
            if "html" in answer.headers.get("content-type", ""):
                waiting += self._read(path, answer.text)

    def _read(self, path: str, text: str) -> list[str]:
        found = _Forms(path)
        found.feed(text)
        for form in found.forms:
            key = (form.method, _shape(form.action), tuple(sorted({n for n, _ in form.fields})))
            self.forms.setdefault(key, form)
        return sorted(found.links)

    def held(self) -> tuple[int, int]:
        """How many events and how many sounds there are."""
        folder = self.services.take_files.path(self._take).parent if self._take else None
        return self.services.store.last_sequence(), len(list(folder.iterdir())) if folder else 0

    def news(self, before: tuple[int, int]) -> Iterator[str]:
        """Where to look at what came in since."""
        step = next(iter(self.services.state().steps))
        topic = self.services.state().steps[step].topic_id
        for _, event in self.services.store.events(after=before[0]):
            passage = getattr(event.data, "passage", None)
            if passage is None:
                continue
            yield from (
                f"/passages/{passage.id}{end}" for end in ("", ".json", ".svg", ".wav", "/chart")
            )
            for way in ("piece", "tune"):
                yield f"/topics/{topic}/proposal?way={way}&go=1&passage_id={passage.id}"

    @property
    def _take(self) -> str:
        return next(iter(self.services.state().takes), "")

    def send(self, attack: Attack):
        """Send one request; a fault of the program comes back as an answer of 500."""
        extra = {}
        if attack.content is not None:
            extra["content"] = attack.content
        elif attack.files:
            extra["files"] = list(attack.files)
            extra["data"] = dict(attack.data)
        elif attack.data and attack.method != "GET":
            extra["content"] = urlencode(attack.data).encode()
            attack.headers.setdefault("Content-Type", FORM)
        return self.client.request(
            attack.method, attack.path, headers=attack.headers, follow_redirects=False, **extra
        )


def _shape(address: str) -> str:
    path = urlsplit(address).path
    names = ",".join(sorted(name for name, _ in parse_qsl(urlsplit(address).query)))
    parts = ["*" if any(c.isdigit() for c in part) else part for part in path.split("/")]
    return "/".join(parts) + "?" + names


def attacks(target: Target, rng: random.Random) -> Iterator[Attack]:
    """Every attack, in a mixed order that is the same for the same seed."""
    found = [
        *of_forms(target),
        *of_queries(target),
        *of_json(target),
        *of_addresses(target),
        *of_headers(target),
        *of_files(target),
    ]
    rng.shuffle(found)
    yield from found


def of_forms(target: Target) -> Iterator[Attack]:
    """Each field of each form, with each odd text; and the fields not there at all, or twice."""
    for form in target.forms.values():
        if form.method.lower() != "post" or form.files or "stop" in form.action:
            continue
        for number, (name, _) in enumerate(form.fields):
            for at, odd in enumerate(ODD_TEXTS):
                fields = [*form.fields]
                fields[number] = (name, odd)
                yield Attack(f"form {name} {at}", "POST", form.action, data=tuple(fields))
        yield Attack("form without", "POST", form.action, data=(("x", "y"),))
        yield Attack("form twice", "POST", form.action, data=tuple(form.fields * 2))
        many = tuple((f"n{k}", "v") for k in range(1200))
        yield Attack("form of many", "POST", form.action, data=many)


def of_queries(target: Target) -> Iterator[Attack]:
    """Each name of each query that a page or a form of it has."""
    known = dict(target.queries)
    for form in target.forms.values():
        if form.method.lower() == "get" and form.fields:
            known[form.action.partition("?")[0]] = form.fields
    for path, names in EXTRA_QUERIES(target).items():
        known[path] = [*known.get(path, []), *((n, "1") for n in names)]
    for path, fields in known.items():
        for number, (name, _) in enumerate(fields):
            for at, odd in enumerate(ODD_TEXTS):
                if len(odd) > 20_000:
                    continue
                changed = [*fields]
                changed[number] = (name, odd)
                yield Attack(f"query {name} {at}", "GET", f"{path}?{urlencode(changed)}")


def EXTRA_QUERIES(target: Target) -> dict[str, tuple[str, ...]]:  # noqa: N802 - a table
    passage = next(iter(target.services.state().passages), "x")
    topic = next(iter(target.services.state().topics), "x")
    return {
        f"/passages/{passage}.svg": ("first", "last", "width"),
        f"/passages/{passage}.wav": ("first", "last", "bpm"),
        f"/passages/{passage}.json": ("first", "last", "feel", "only"),
        f"/passages/{passage}": ("first", "last", "bpm", "step"),
        "/changes": ("text", "metre"),
        "/changes.svg": ("text", "metre", "width"),
        "/changes.json": ("text", "metre", "feel"),
        "/outlook": ("minutes",),
        "/outlook/dates": ("minutes",),
        "/print.pdf": ("plan", "steps", "paper"),
        "/tomorrow": ("day", "moved"),
        "/tomorrow.ics": ("day",),
        "/tomorrow/print": ("day",),
        "/run-through": ("performance", "topic"),
        f"/topics/{topic}/proposal": ("way", "go", "metre", "changes", "first_bar", "goal", "seed"),
        f"/topics/{topic}/proposal.svg": ("passage", "ask", "width"),
        "/what-if": ("kind", "minutes", "topic", "day"),
        "/what-if/numbers": ("kind", "minutes", "poll"),
    }


def of_json(target: Target) -> Iterator[Attack]:
    """Every address that takes JSON: odd bodies, and true ones with one value that is odd."""
    headers = {"Content-Type": "application/json"}
    step = next(iter(target.services.state().steps))
    take = target.services.log.new_id()
    for path in ("/api/events", "/api/session/start", "/api/session/lead"):
        for number, body in enumerate(ODD_JSON):
            yield Attack(f"json {number}", "POST", path, body, dict(headers))
        for number, body in enumerate(_spoilt(TRUE_JSON()[path])):
            yield Attack(f"spoilt {number}", "POST", path, body, dict(headers))
    for number, text in enumerate((*ODD_TEXTS, *(b.decode("latin-1") for b in ODD_JSON))):
        if len(text) > 20_000:
            text = text[:20_000]
        for name in ("click", "at", "day", "click_bpm", "session_id", "slot_id", "source", "judge"):
            query = urlencode({"step_id": step, name: text})
            yield Attack(f"take {name} {number}", "PUT", f"/api/takes/{take}?{query}", b"RIFF")


def TRUE_JSON() -> dict[str, object]:  # noqa: N802 - a table
    from fuzz_seeds import _events

    events = next(iter(_events()))
    lead = {"device": "a", "session_id": "", "name": "a", "claims": True, "take": False, "seen": 0}
    return {
        "/api/events": events,
        "/api/session/start": {"day": "2027-01-12"},
        "/api/session/lead": lead,
    }


def _spoilt(value: object) -> Iterator[bytes]:
    """The value with each leaf in turn replaced by each odd one."""
    for place in _places(value):
        for odd in ODD_VALUES:
            copy = json.loads(json.dumps(value))
            at = copy
            for step in place[:-1]:
                at = at[step]
            at[place[-1]] = odd
            yield json.dumps(copy).encode()


def _places(value: object, before: tuple = ()) -> Iterator[tuple]:
    pairs = value.items() if isinstance(value, dict) else enumerate(value)  # type: ignore[arg-type]
    for name, part in pairs:
        yield (*before, name)
        if isinstance(part, dict | list):
            yield from _places(part, (*before, name))


def of_addresses(target: Target) -> Iterator[Attack]:
    """Ids that are none, paths that lead elsewhere, methods that nobody asked for."""
    odd = ("0", "x" * 300, "..", "%2e%2e%2f%2e%2e%2fetc%2fpasswd", "%00", "%ff", "%ED%A0%80", "'", "é",
           "00000000-0000-0000-0000-000000000000", "-1", str(2**64))  # fmt: skip
    shapes = ("/topics/{}", "/topics/{}/proposal", "/steps/{}", "/takes/{}", "/takes/{}/sound",
              "/takes/{}/hearing", "/passages/{}", "/passages/{}.svg", "/passages/{}.wav",
              "/passages/{}.json", "/passages/{}/chart", "/performances/{}", "/performances/{}/after",
              "/performances/{}/readiness", "/run-through/{}", "/run-through/{}/end", "/import/{}/grid",
              "/import/{}/grid.svg", "/session-{}.js", "/static/{}", "/static/js/{}")  # fmt: skip
    for shape in shapes:
        for one in odd:
            yield Attack("address", "GET", shape.format(one))
    for form in target.forms.values():
        path = form.action.partition("?")[0]
        for one in odd:
            parts = [
                quote(one, safe="%") if any(c.isdigit() for c in p) else p for p in path.split("/")
            ]
            if parts != path.split("/"):
                yield Attack(
                    "address of a form",
                    "POST",
                    "/".join(parts),
                    data=tuple(form.fields) or (("a", "b"),),
                )
    for method in ("PUT", "DELETE", "PATCH", "OPTIONS", "HEAD"):
        yield Attack("method", method, "/")
        yield Attack("method", method, "/api/events")


def of_headers(target: Target) -> Iterator[Attack]:
    """Bodies that are not what their header says."""
    kinds = (
        "multipart/form-data", "multipart/form-data; boundary=", "multipart/form-data; boundary=x",
        "multipart/form-data; boundary=" + "x" * 5000, "application/json", FORM + "; charset=utf-7",
        FORM + "; charset=punycode", "text/plain", "", "\xff", "application/octet-stream",
    )  # fmt: skip
    bodies = (b"", b"--x", b"--x\r\n\r\n--x--", b"\xff\xfe\x00", b"a=%", b"a=%zz&=&&&", b"=" * 5000, b"&" * 5000,
              b'--x\r\nContent-Disposition: form-data; name="files"; filename="a"\r\n\r\n',
              b'--x\r\nContent-Disposition: form-data\r\n\r\na\r\n--x--\r\n')  # fmt: skip
    paths = sorted(
        {form.action for form in target.forms.values() if form.method.lower() == "post"}
    )[::4]
    for path in ("/topics", "/import", "/settings", "/data/restore", "/pair", *paths):
        for kind in kinds:
            for body in bodies:
                yield Attack("header", "POST", path, body, {"Content-Type": kind})
    for name, value in (
        ("Accept", "x" * 5000), ("Range", "bytes=99999999999-"), ("Range", "bytes=-1,0-0,5-2"), ("Range", "x"),
        ("If-None-Match", "x" * 5000), ("If-Modified-Since", "yesterday"), ("Cookie", "=;=" * 500), ("Cookie", "\x01"),
        ("Accept-Language", "x" * 3000), ("Content-Length", "-1"), ("Referer", "http://[::1"), ("Origin", "null"),
        ("HX-Request", "true"), ("User-Agent", ""),
    ):  # fmt: skip
        for path in ("/", *target.pages[::6]):
            yield Attack(f"header {name}", "GET", path, headers={name: value})


def of_files(target: Target) -> Iterator[Attack]:
    """Files that are damaged, hostile, or not what they are called, to every form that takes one."""
    from evil_files import NOTATION, SOUNDS, archives

    step = next(iter(target.services.state().steps))
    takes = f"/steps/{step}/takes"
    for name, data in NOTATION().items():
        for path, part in ((f"/steps/{step}/passage", "file"), ("/import", "files")):
            yield Attack(
                f"notation {name}", "POST", path, files=((part, (name, data)),), data=(("x", ""),)
            )
    for name, data in SOUNDS().items():
        yield Attack(
            f"sound {name}", "POST", takes, files=(("sound", (name, data)),), data=(("x", ""),)
        )
        query = urlencode({"step_id": step})
        yield Attack(
            f"sound {name}",
            "PUT",
            f"/api/takes/{target.services.log.new_id()}?{query}",
            data[:5_000_000],
        )
        slow = urlencode({"rate": "44100", "speed": "50", "first": "0", "last": "1"})
        yield Attack(f"slow {name}", "POST", f"/slow?{slow}", data[:1_000_000])
    for name, data in archives().items():
        yield Attack(
            f"archive {name}",
            "POST",
            "/data/restore",
            files=(("archive", (name, data)),),
            data=(("x", ""),),
        )
    yield from _mutants(step)


def _mutants(step: str) -> Iterator[Attack]:
    from fuzz_seeds import seeds_of
    from mutations import mutant

    for kind, name in (
        ("musicxml", "a.musicxml"),
        ("mei", "a.mei"),
        ("abc", "a.abc"),
        ("midi", "a.mid"),
    ):
        for number in range(2_000_000, 2_000_030):
            data = mutant(seeds_of(kind), kind, number)
            yield Attack(
                f"mutant {kind} {number}",
                "POST",
                "/import",
                files=(("files", (name, data)),),
                data=(("x", ""),),
            )
    for number in range(2_000_000, 2_000_030):
        data = mutant(seeds_of("audio"), "audio", number)
        yield Attack(
            f"mutant audio {number}",
            "POST",
            f"/steps/{step}/takes",
            files=(("sound", ("a.wav", data)),),
            data=(("x", ""),),
        )


def balanced(every: Iterator[Attack], count: int) -> list[Attack]:
    """So many of them, of each kind as many as of the others."""
    kinds: dict[str, list[Attack]] = {}
    for attack in every:
        kinds.setdefault(attack.name.partition(" ")[0], []).append(attack)
    chosen: list[Attack] = []
    while len(chosen) < count and any(kinds.values()):
        chosen += [found.pop() for found in kinds.values() if found]
    return chosen[:count]


class _StillClock:
    """Always the same evening; ids one after another."""

    def __init__(self) -> None:
        self._count = 0

    def now(self) -> datetime:
        return datetime(2027, 1, 12, 17, tzinfo=UTC)

    def new_id(self) -> str:
        from coldtake.domain.ids import uuid7

        self._count += 1
        return uuid7(int(self.now().timestamp() * 1000), self._count.to_bytes(10, "big"))


@contextmanager
def household(folder: Path) -> Iterator[tuple["TestClient", "Services"]]:  # type: ignore[name-defined] # noqa: F821
    """Two topics with steps, notation, a plan, a session under way and a take; the whole app."""
    import logging
    import warnings

    with warnings.catch_warnings():  # the test client asks for httpx2; httpx serves it as well
        warnings.simplefilter("ignore")
        from starlette.testclient import TestClient

    from fuzz_seeds import _sound

    from coldtake.bootstrap import make_app, open_services
    from coldtake.domain.take import NewTake

    services = open_services(folder, clock=_StillClock())
    steps = [step for title in ("Air in C", "Scales") for step in _laid_out(services, title)]
    services.plans.propose(services.plans.default_request(services.today()))
    services.sessions.start()
    services.takes.keep(_sound("WAV", "PCM_16", 8000, 1), NewTake(step_id=steps[0]))
    logging.getLogger("coldtake").setLevel(logging.CRITICAL)  # each fault is told by its outcome
    app = make_app(services)
    with TestClient(app, base_url="http://localhost", raise_server_exceptions=False) as client:
        yield client, services
    logging.getLogger("coldtake").setLevel(logging.NOTSET)
    services.close()


def _laid_out(services: "Services", title: str) -> list[str]:  # type: ignore[name-defined] # noqa: F821
    from coldtake.domain.criterion import Criterion, NotesTest
    from coldtake.domain.topic import Place, Step

    topic = services.pile.add(title, place=Place.CURRENT)
    asked = Criterion(tests=(NotesTest(),))
    made = [
        services.pile.keep_step(
            Step(id=services.log.new_id(), topic_id=topic.id, title=f"Part {n}", criterion=asked)
        )
        for n in (1, 2)
    ]
    air = b"X:1\nT:Air\nM:4/4\nL:1/4\nQ:1/4=96\nK:C\nCDEF|GFED|C4|\n"
    services.pile.give_notation(made[0].id, air, "air.abc")
    return [step.id for step in made]


def cpu_s() -> float:
    """Processor time of this process and of all that it started."""
    told = os.times()
    return (
        told.user
        + told.system
        + told.children_user
        + told.children_system
        + sum(map(_cpu_of, _children()))
    )


def _children() -> list[int]:
    found = []
    for task in Path("/proc/self/task").glob("*/children"):
        with suppress(OSError):
            found += [int(pid) for pid in task.read_text().split()]
    return found


def _cpu_of(pid: int) -> float:
    with suppress(OSError):
        told = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")
    return 0.0


def peak_bytes() -> int:
    """The most memory that this process or one that it started has had at once, while it lives."""
    most = 0
    for pid in (os.getpid(), *_children()):
        with suppress(OSError):
            text = Path(f"/proc/{pid}/status").read_text()
            most = max(
                most,
                *(
                    int(line.split()[1]) * 1024
                    for line in text.splitlines()
                    if line.startswith("VmHWM")
                ),
            )
    return most


@dataclass
class Outcome:
    """What became of one attack."""

    attack: Attack
    status: int
    cpu_s: float
    wall_s: float
    after: str = ""


def tried(target: Target, attack: Attack) -> Outcome:
    """Send it, measure, and look at what was kept of it."""
    began, spent = time.monotonic(), cpu_s()
    before = target.held()
    try:
        status = target.send(attack).status_code
    except (UnicodeError, ValueError) as fault:
        if "httpx" not in str(type(fault)) and "ascii" not in str(fault):
            raise
        status = 0  # the client itself would not send it
    outcome = Outcome(attack, status, cpu_s() - spent, time.monotonic() - began)
    if status >= 400 and target.held() != before:
        outcome.after = f"refused, yet kept: {before} {target.held()}"
    for path in target.news(before):
        found = target.client.get(path, follow_redirects=False).status_code
        if found >= 500:
            outcome.after = f"{found} {path}"
    return outcome
