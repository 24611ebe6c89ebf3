"""A week of an amateur at the piano: a minuet for two hands in five weeks, an air without a date.

PYTHONPATH=src python bench/weeks/piano.py FOLDER

25 minutes a day at home. Takes come as a keyboard's MIDI and as recordings: right, faulty, without
the repeat, an octave up, of another piece, of one hand only.
"""

import sys
from collections.abc import Sequence
from datetime import date, time
from pathlib import Path
from urllib.parse import urlencode

from app_in_time import AppInTime
from playwright.sync_api import expect

import sound

Notes = list[tuple[int | Sequence[int], float]]
MINUET = """X:1
T:Evening Minuet
M:3/4
L:1/8
Q:1/4=96
%%score {RH | LH}
K:G
V:RH clef=treble
|:B2 d2 g2|f2 e2 d2|edcB A2|B6:|c2 e2 A2|B2 d2 G2|ABcA F2|G6|]
V:LH clef=bass
|:G,2 B,2 D2|D,2 F,2 A,2|C,4 D,2|G,,6:|A,4 C2|G,4 B,2|D,6|[G,,D,]6|]
"""
AIR = (
    "X:1\nT:Slow Air\nM:4/4\nL:1/4\nQ:1/4=60\nK:F\n|F2 A2|c3 d|c A G F|G4|A2 c2|d3 c|A G F2|F4|]\n"
)
_RIGHT: list[Notes] = [
    [(71, 1), (74, 1), (79, 1)],
    [(78, 1), (76, 1), (74, 1)],
    [(76, 0.5), (74, 0.5), (72, 0.5), (71, 0.5), (69, 1)],
    [(71, 3)],
    [(72, 1), (76, 1), (69, 1)],
    [(71, 1), (74, 1), (67, 1)],
    [(69, 0.5), (71, 0.5), (72, 0.5), (69, 0.5), (66, 1)],
    [(67, 3)],
]
_LEFT: list[Notes] = [
    [(55, 1), (59, 1), (62, 1)],
    [(50, 1), (54, 1), (57, 1)],
    [(48, 2), (50, 1)],
    [(43, 3)],
    [(57, 2), (60, 1)],
    [(55, 2), (59, 1)],
    [(50, 3)],
    [((43, 50), 3)],
]
_AS_PLAYED = (0, 1, 2, 3, 0, 1, 2, 3, 4, 5, 6, 7)  # bars with the repeat, counted from 0


def hands(first: int, last: int, *, repeat: bool = True) -> tuple[Notes, Notes]:
    """Both hands of bars as played, counted from 1."""
    bars = _AS_PLAYED[first - 1 : last] if repeat else range(8)
    return [n for b in bars for n in _RIGHT[b]], [n for b in bars for n in _LEFT[b]]


def up(notes: Notes, by: int) -> Notes:
    return [
        (p + by if isinstance(p, int) else tuple(q + by for q in p), beats) for p, beats in notes
    ]


def topic(app: AppInTime, title: str, **known: object) -> str:
    """Add a topic by the form, say what is known of it, make it current."""
    app.post("/topics", {"title": title})
    (found,) = [t for t in app.services.state().topics.values() if t.title == title]
    usual = {"title": title, "kind": "piece", "importance": 3, "performance_on": "", "notes": ""}
    app.post(f"/topics/{found.id}", usual | known)
    app.post(f"/topics/{found.id}/place", {"place": "current"})
    return found.id


def accept(app: AppInTime, topic_id: str, query: dict[str, object], most: int = 99) -> None:
    """Take a proposal's first steps as the page offers them; its words are kept."""
    app.page.goto(f"{app.url}/topics/{topic_id}/proposal?{urlencode(query)}&go=1")
    (app.folder / f"proposal-{topic_id[-4:]}.txt").write_text(app.page.inner_text("main"))
    boxes = app.page.locator("input[name=keep]")
    for k in range(most, boxes.count()):
        boxes.nth(k).uncheck()
    if boxes.count():
        app.page.locator("form.proposed button.main-act").click()
        app.page.wait_for_load_state("load")


def send(app: AppInTime, step_id: str, file: Path, *, cold: str = "no") -> None:
    """Send a take by the step's form and wait until it is judged; keep its page's words."""
    at = app.post(f"/steps/{step_id}/takes", {"sound": file, "cold": cold})
    app.page.goto(at)
    expect(app.page.locator("[hx-trigger*=load]")).to_have_count(0, timeout=60_000)
    app.page.goto(at)
    (app.folder / f"take-{file.stem}{file.suffix}.txt").write_text(app.page.inner_text("main"))


def wishes(app: AppInTime, day: str) -> None:
    """Pin a slot, refuse another, swap a third, lengthen: the plan's words after each."""
    said = []
    for act in ("pin", "refuse", "swap", "longer", "unpin"):
        app.page.goto(f"{app.url}/tomorrow?day={day}")
        plan = app.services.plans.plan(date.fromisoformat(day))
        if plan is None or len(plan.slots) < 2:
            break
        slot = plan.slots[0 if act in ("pin", "unpin") else -1]
        taken = {one.step_id for one in plan.slots}
        other = next((s for s in app.services.state().steps if s not in taken), "")
        app.post("/tomorrow/change", {"day": day, "act": act, "slot_id": slot.id, "step_id": other})
        app.page.goto(f"{app.url}/tomorrow?day={day}")
        said.append(f"== {act} {slot.id}\n{app.page.inner_text('main')}")
    (app.folder / "wishes.txt").write_text("\n\n".join(said))


def look_ahead(topic_id: str) -> list[str]:
    """Pages with a question in their address."""
    return [
        "/what-if?more_min=20",
        f"/what-if?date_of={topic_id}&date=2027-03-20",
        "/triage",
    ]


def main(folder: Path) -> None:
    """Live the week."""
    with AppInTime(folder, date(2027, 3, 1)) as app:
        app.go_to(0, time(18))
        minuet = topic(app, "Evening Minuet", importance=4, performance_on="2027-04-05")
        air = topic(app, "Slow Air", importance=2)
        app.post(f"/topics/{minuet}/proposal/passage", {"way": "piece", "abc": MINUET})
        app.post(f"/topics/{air}/proposal/passage", {"way": "piece", "abc": AIR})
        by_title = {p.title: p.id for p in app.services.state().passages.values()}
        for one, title, goal in ((minuet, "Evening Minuet", 96), (air, "Slow Air", 60)):
            wanted = {"way": "piece", "passage_id": by_title[title], "clean": 50, "goal": goal}
            accept(app, one, wanted)
        app.post("/performances", {"title": "House concert", "on": "2027-04-05", "place": "Home"})
        (concert,) = app.services.state().performances.values()
        app.post(f"/performances/{concert.id}/programme", {"act": "add", "topic_id": minuet})
        whole = next(
            s.id
            for s in app.services.state().topic_steps(minuet)
            if s.title.startswith("Whole passage")
        )
        right, left = hands(1, 12)
        wrong = list(left)
        wrong[4], wrong[8] = (52, 1), (45, 3)
        makes: dict[int, list[tuple[str, list[Notes], float]]] = {
            0: [("right.mid", [right, left], 69), ("right.wav", [right, left], 69)],
            1: [("wrong.mid", [right, wrong], 69), ("wrong.wav", [right, wrong], 69)],
            2: [("norepeat.mid", [*hands(1, 12, repeat=False)], 69),
                ("octave.mid", [up(right, 12), up(left, 12)], 69)],
            4: [("other.mid", [[(65, 2), (69, 2), (72, 3), (74, 1), (72, 1), (69, 1)] * 2], 60),
                ("onehand.mid", [right], 69)],
            5: [("slow.mid", [right, left], 60), ("norepeat.wav",
                [*hands(1, 12, repeat=False)], 69)],
        }  # fmt: skip
        answers = ["yes", "no", "yes", "yes", "no", "cannot_tell", "yes"]
        for day in range(7):
            if day == 3:
                continue  # a day off
            late = time(18, 45 if day == 4 else 31)  # one session begins a quarter of an hour late
            app.go_to(day, late)
            if day in (0, 4):
                minutes = {"minutes": 25, "starts_at": "18:31", "day": "today"}
                app.post("/tomorrow", minutes)
            said = app.practise(answers[day:] + answers[:day])
            (folder / f"session-{day}.txt").write_text("\n\n".join(said))
            app.go_to(day, time(20))
            for name, parts, bpm in makes.get(day, []):
                send(app, whole, sound.together(folder / name, parts, bpm, "piano"))
            app.post("/tomorrow", {"minutes": 25, "starts_at": "18:30", "day": ""})
            if day == 1:
                wishes(app, "2027-03-03")
            if day in (1, 6):
                start = ["/", *look_ahead(minuet)]
                shots = ("/", "/tomorrow", "/outlook", "/progress", f"/topics/{minuet}",
                         f"/steps/{whole}", f"/performances/{concert.id}")  # fmt: skip
                app.read(f"{day}-evening", start=start, shots=shots if day == 6 else ())
        print(len(app.faults), "faults")
        print("\n".join(dict.fromkeys(app.faults)))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
