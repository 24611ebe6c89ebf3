"""A week of a guitarist who improvises: a blues in F, a tune of his own, scales; a gig in May.

PYTHONPATH=src python bench/weeks/jazz.py FOLDER
"""

import sys
from datetime import date, time
from pathlib import Path
from urllib.parse import urlencode

from app_in_time import AppInTime

import sound

BLUES = "| F7 | Bb7 | F7 | Cm7 F7 | Bb7 | Bb7 | F7 | D7 | Gm7 | C7 | F7 D7 | Gm7 C7 |"
TUNE = (
    "X:1\nT:The Late Ferry\nM:4/4\nL:1/8\nQ:1/4=132\nK:F\n"
    '|:"F"c2 A2 F2 A2|"Gm7"B3 A G4|"C7"E2 G2 B2 d2|"F"c6 z2:|\n'
)


def topic(app: AppInTime, title: str, *, current: bool = True, **more: object) -> str:
    """Add a topic, and set what is known of it."""
    app.post("/topics", {"title": title})
    (found,) = [t for t in app.services.state().topics.values() if t.title == title]
    known = {"title": title, "kind": "tune", "importance": 3, "performance_on": "", "notes": ""}
    app.post(f"/topics/{found.id}", known | more)
    if current:
        app.post(f"/topics/{found.id}/place", {"place": "current"})
    return found.id


def accept(app: AppInTime, topic_id: str, query: str, most: int = 99) -> int:
    """Take a proposal's steps as the page offers them."""
    app.page.goto(f"{app.url}/topics/{topic_id}/proposal?{query}&go=1")
    (app.folder / f"proposal-{topic_id[-4:]}.txt").write_text(app.page.inner_text("main"))
    boxes = app.page.locator("input[name=keep]")
    count = boxes.count()
    for k in range(most, count):
        boxes.nth(k).uncheck()
    if count:
        app.page.locator("form.proposed button.main-act").click()
        app.page.wait_for_load_state("load")
    return count


def main(folder: Path) -> None:
    with AppInTime(folder, date(2027, 3, 1)) as app:
        app.go_to(0, time(18))
        app.read("0-empty", shots=("/",))
        blues = topic(app, "Blues in F", importance=5, performance_on="2027-05-08")
        ferry = topic(app, "The Late Ferry", importance=4, performance_on="2027-05-08")
        scales = topic(app, "Scales and arpeggios", kind="technique", importance=2)
        print("blues", accept(app, blues, urlencode({
            "way": "tune", "changes": BLUES, "instrument": "guitar", "metre": "4/4",
            "other_keys": 2, "clean": 100, "goal": 160})))  # fmt: skip
        app.post(f"/topics/{ferry}/proposal/passage", {"way": "piece", "abc": TUNE})
        passages = list(app.services.state().passages.values())
        page = next(p.id for p in passages if "Ferry" in p.title)
        print("ferry", accept(app, ferry, urlencode({
            "way": "piece", "passage_id": page, "clean": 84, "goal": 132})))  # fmt: skip
        print("scales", accept(app, scales, urlencode({
            "way": "technique", "rules": "scale", "instrument": "guitar", "scale": "major",
            "keys": "F Bb C", "octaves": 2, "clean": 80, "goal": 120}), 6))  # fmt: skip
        app.post(
            "/performances", {"title": "Spring gig", "on": "2027-05-08", "place": "The Anchor"}
        )
        (known,) = app.services.state().performances.values()
        for one in (blues, ferry):
            app.post(f"/performances/{known.id}/programme", {"act": "add", "topic_id": one})
        app.post("/tomorrow", {"minutes": 45, "starts_at": "18:30", "day": "today"})
        app.read("0-planned", shots=("/", "/tomorrow", "/outlook"))
        said = {}
        answers = ["yes", "no", "yes", "yes", "no", "no", "yes"]
        for day in range(7):
            app.go_to(day, time(18, 31))
            if day == 3:
                continue  # a day off
            if day:
                app.post("/tomorrow", {"minutes": 45, "starts_at": "18:31", "day": "today"})
            said[day] = app.practise(answers[day:] + answers[:day])
            (folder / f"session-{day}.txt").write_text("\n\n".join(said[day]))
            app.go_to(day, time(21, 15))
            for step in list(app.services.state().steps.values())[:2]:
                if day in (1, 4):
                    take = sound.take(
                        folder / f"take{day}.wav",
                        [(0, 1), *[(65 + p, 0.5) for p in (0, 4, 7, 10, 9, 7, 4, 2)] * 12],
                        120, "guitar",
                    )  # fmt: skip
                    app.post(f"/steps/{step.id}/takes", {"sound": take, "first_try": "no",
                                                         "cold": "no"})  # fmt: skip
            app.post("/tomorrow", {"minutes": 45, "starts_at": "18:30", "day": ""})
            if day in (0, 2, 6):
                app.read(f"{day}-evening", shots=("/tomorrow", "/outlook", "/progress")
                         if day == 6 else ())  # fmt: skip
        print(len(app.faults), "faults")
        print("\n".join(dict.fromkeys(app.faults)))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
