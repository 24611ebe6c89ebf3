"""A week of a violist: a quartet's inner part, an excerpt for an audition, scales; a concert.

PYTHONPATH=src python bench/weeks/orchestra.py FOLDER
"""

import sys
from collections.abc import Callable
from datetime import date, time
from pathlib import Path
from urllib.parse import urlencode

from app_in_time import AppInTime

import sound
from coldtake.domain.topic import Place, Step

PART = (
    "X:1\nT:Quartet in G, viola\nM:3/4\nL:1/8\nQ:1/4=104\nK:G clef=alto\n"
    "G,2 B,2 D2|E2 D2 C2|B,A, B,C D2|A,6|D2 ^C2 D2|E2 F2 G2|A2 G2 F2|G6|"
    "G,B, DB, G,B,|A,C FC A,C|B,D GD B,D|E2 C2 A,2|D2 E2 F2|GF ED CB,|A,2 B,2 F,2|G,6|]\n"
)
EXCERPT = (
    "X:1\nT:The Long Tide, bars 40 to 51\nM:4/4\nL:1/16\nQ:1/4=112\nK:Dm clef=alto\n"
    "D2A,2 D2E2 F2E2 D2^C2|D4 A,4 D8|FEDE FGAG F4 D4|E2F2 G2E2 A8|"
    "A2d2 c2B2 A2G2 F2E2|F4 D4 A,8|DEFG ABcA d4 A4|B2A2 G2F2 E8|"
    "D2A,2 F,2A,2 D2F2 A2F2|G4 E4 ^C8|DEFE DEFG AGFE D^CDE|D8 D8|]\n"
)
CONCERT, AUDITION = "2027-04-12", "2027-04-12"


def topic(app: AppInTime, title: str, **more: object) -> str:
    """Add a topic, set what is known of it and make it current."""
    app.post("/topics", {"title": title})
    (found,) = [t for t in app.services.state().topics.values() if t.title == title]
    known = {"title": title, "kind": "piece", "importance": 3, "performance_on": "", "notes": ""}
    app.post(f"/topics/{found.id}", known | more)
    app.post(f"/topics/{found.id}/place", {"place": "current"})
    return found.id


def accept(app: AppInTime, topic_id: str, **query: object) -> None:
    """Look at a proposal and take all of its steps."""
    asked = urlencode(query | {"go": 1}, doseq=True)
    app.page.goto(f"{app.url}/topics/{topic_id}/proposal?{asked}")
    (app.folder / f"proposal-{query['way']}-{topic_id[-4:]}.txt").write_text(
        app.page.inner_text("main")
    )
    app.page.locator("form.proposed button.main-act").click()
    app.page.wait_for_load_state("load")


def piece(app: AppInTime, topic_id: str, abc: str, clean: int, goal: int) -> None:
    """Give a topic its notation, and take the steps proposed from it."""
    known = set(app.services.state().passages)
    app.post(f"/topics/{topic_id}/proposal/passage", {"way": "piece", "abc": abc})
    (fresh,) = set(app.services.state().passages) - known
    accept(app, topic_id, way="piece", passage_id=fresh, clean=clean, goal=goal)


def notes_of(app: AppInTime, step: Step) -> list[tuple[int, float]]:
    """Write out what a step asks for as pitches and beats, a bar of rest before it."""
    passage = app.services.pile.exercise_passage(step)
    if passage is None:
        return []
    start = passage.bars[0].onset_beats
    return [(0, 2), *((n.pitch, n.duration_beats) for n in passage.notes if n.onset_beats >= start)]


def send(app: AppInTime, step: Step, name: str, change: Callable, cold: str = "no") -> None:
    """Play a step's passage, changed by `change`, and read what is said of it."""
    notes = change(notes_of(app, step))
    goal = step.exercise.tempo_bpm or 72
    take = sound.take(app.folder / f"{name}.wav", notes, goal * 1.02, "viola")
    where = app.post(f"/steps/{step.id}/takes", {"sound": take, "cold": cold})
    for _ in range(60):
        app.page.goto(where)
        if "Listening" not in app.page.inner_text("main"):
            break
        app.page.wait_for_timeout(1000)
    (app.folder / f"take-{name}.txt").write_text(app.page.inner_text("main"))


def wrong(notes: list[tuple[int, float]]) -> list[tuple[int, float]]:
    """Play the fifth note a semitone low."""
    return [(p - 1, b) if k == 5 else (p, b) for k, (p, b) in enumerate(notes)]


def change_plan(app: AppInTime, day: str) -> None:
    """Pin the second slot, refuse the third, swap the last for the first step left out."""
    plan = app.services.plans.plan(date.fromisoformat(day))
    for act, number in (("pin", 1), ("refuse", 2), ("swap", -1), ("longer", 0)):
        plan = app.services.plans.plan(date.fromisoformat(day))
        spare = next((s.step_id for s in plan.left_out if not s.lacks), "")
        app.post(
            "/tomorrow/change",
            {"day": day, "act": act, "slot_id": plan.slots[number].id, "step_id": spare},
        )


def begin(app: AppInTime) -> tuple[str, str, str]:
    """Fill the pile: a quartet part with a step for the rehearsal, an excerpt, scales."""
    quartet = topic(app, "Quartet in G", importance=4, performance_on=CONCERT)
    tide = topic(app, "The Long Tide", importance=5, performance_on=AUDITION)
    scales = topic(app, "Scales", kind="technique", importance=2)
    piece(app, quartet, PART, 66, 104)
    piece(app, tide, EXCERPT, 60, 112)
    accept(app, scales, way="technique", rules=["scale", "arpeggio"], keys="C G D",
           instrument="viola", octaves=3, clean=60, goal=96)  # fmt: skip
    app.post(f"/topics/{quartet}/steps", {"title": "Bars 5 to 8 in tune with the other three"})
    step = app.services.state().topic_steps(quartet)[-1]
    app.post(f"/steps/{step.id}", {
        "title": step.title, "need_min": 20, "requires_asked": "1",
        "requires": "people", "note_people": "the quartet"})  # fmt: skip
    app.post("/appointments", {
        "kind": "rehearsal", "title": "Quartet", "on": "2027-03-04", "starts_at": "19:30",
        "minutes": "120", "requires_asked": "1", "requires": "people"})  # fmt: skip
    app.post("/performances", {"title": "Spring concert", "on": CONCERT, "place": "Town hall"})
    (concert,) = app.services.state().performances.values()
    for one in (quartet, tide):
        app.post(f"/performances/{concert.id}/programme", {"act": "add", "topic_id": one})
    return quartet, tide, scales


def main(folder: Path) -> None:
    with AppInTime(folder, date(2027, 3, 1)) as app:
        app.go_to(0, time(17))
        quartet, tide, scales = begin(app)
        for title in ("Sonata, slow movement", "Sight reading", "Shifts"):
            topic(app, title, importance=3)  # the fourth fits, the others meet the limit
        app.post("/tomorrow", {"minutes": 50, "starts_at": "18:00", "day": "today"})
        change_plan(app, "2027-03-01")
        app.read("0-planned", shots=("/", "/tomorrow?day=2027-03-01", f"/topics/{quartet}"))
        answers = ["yes", "no", "yes", "yes", "no", "yes", "cannot_tell"]
        for day in range(7):
            if day == 3:
                continue  # missed
            begins = time(23, 50) if day == 4 else time(18, 14 if day == 2 else 1)
            app.go_to(day, begins)
            said = app.practise(answers[day:] + answers[:day])
            (folder / f"session-{day}.txt").write_text("\n\n".join(said))
            if day == 4:
                app.page.goto(f"{app.url}/tomorrow")
                (folder / "past-midnight.txt").write_text(app.page.inner_text("body"))
            else:
                app.go_to(day, time(21, 15))
            if day == 1:
                first, second = app.services.state().topic_steps(tide)[:2]
                send(app, first, "right", list, "yes")
                send(app, first, "wrong", wrong)
                backwards = notes_of(app, first)[::-1]
                send(app, second, "other", lambda _, notes=tuple(backwards): list(notes))
                (three,) = app.services.state().topic_steps(scales)[:1]
                send(app, three, "scale", list)
            minutes = (45, 60, 50)[day % 3]
            app.post("/tomorrow", {"minutes": minutes, "starts_at": "18:00", "day": ""})
            if day == 2:
                app.post("/tomorrow", {"minutes": 50, "starts_at": "23:45", "day": "2027-03-05"})
            if day in (2, 6):
                app.page.goto(f"{app.url}/outlook")
                shots = ("/tomorrow", "/outlook", "/progress", "/session", "/triage")
                app.read(f"{day}-evening", shots=shots if day == 6 else ())
        waiting = [t.id for t in app.services.state().topics.values() if t.place is Place.WAITING]
        what = urlencode({"take_on": waiting[0], "more_min": 15})
        app.read("6-what-if", start=(f"/what-if?{what}",))
        print(len(app.faults), "faults")
        print("\n".join(dict.fromkeys(app.faults)))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
