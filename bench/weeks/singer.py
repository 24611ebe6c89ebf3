"""A week of an amateur mezzo-soprano: a song with words, intonation, breath; a lesson on Thursday.

PYTHONPATH=src python bench/weeks/singer.py FOLDER

Half of the steps have no notation and are answered by herself; two need a piano; one needs the
teacher. Takes: right, one note flat, an octave down, other words' passage, only the first verse.
"""

import sys
from datetime import date, time
from pathlib import Path
from urllib.parse import urlencode

from app_in_time import AppInTime
from piano import Notes, accept, look_ahead, send, topic, up, wishes

import sound

SONG = """X:1
T:The Harbour Light
M:3/4
L:1/4
Q:1/4=72
K:D
|:D F A|A3/2G/ F|E F G|F3|A B A|G F E|F E D|D3:|
w: The har-bour light is burn-ing low and far, and I must sail be-fore the day is done.
"""
TUNE: Notes = [
    (62, 1), (66, 1), (69, 1), (69, 1.5), (67, 0.5), (66, 1), (64, 1), (66, 1), (67, 1), (66, 3),
    (69, 1), (71, 1), (69, 1), (67, 1), (66, 1), (64, 1), (66, 1), (64, 1), (62, 1), (62, 3),
]  # fmt: skip
BREATH = "A hiss of 20 seconds, even\nThe long phrase in one breath\nSilent breath before bar 5"


def needs(app: AppInTime, step_id: str, *what: str) -> None:
    """Tick what a step needs, as its page does."""
    step = app.services.state().steps[step_id]
    app.page.goto(f"{app.url}/steps/{step_id}")
    for one in what:
        box = app.page.locator(f"input[name=requires][value={one}]").first
        if not box.count():
            print("no way to say what a step needs:", step.title, one)
            return
        box.evaluate("(b) => { b.closest('details')?.setAttribute('open', ''); b.checked = true; }")
    box.evaluate("(b) => b.form.requestSubmit()")
    app.page.wait_for_load_state("load")


def main(folder: Path) -> None:
    """Live the week."""
    with AppInTime(folder, date(2027, 3, 1)) as app:
        app.go_to(0, time(19))
        song = topic(app, "The Harbour Light", importance=4, performance_on="2027-04-17")
        tuning = topic(app, "Intonation", kind="intonation", importance=3)
        breath = topic(app, "Breath", kind="technique", importance=3)
        app.post(f"/topics/{song}/proposal/passage", {"way": "piece", "abc": SONG})
        (passage,) = [p.id for p in app.services.state().passages.values() if "Harb" in p.title]
        wanted: dict[str, object] = {"way": "piece", "passage_id": passage, "clean": 60, "goal": 72}
        accept(app, song, wanted)
        voice: dict[str, object] = {
            "way": "intonation",
            "tonic": "D",
            "instrument": "mezzo-soprano voice",
        }
        accept(app, tuning, voice, 6)
        accept(app, breath, {"way": "plain", "lines": BREATH})
        for line in ("With the piano, second verse", "Sung to my teacher from memory"):
            app.post(f"/topics/{song}/steps", {"title": line})
        steps = {s.title: s.id for s in app.services.state().steps.values()}
        needs(app, steps["With the piano, second verse"], "piano")
        needs(app, steps["Sung to my teacher from memory"], "people")
        lesson = {"kind": "lesson", "title": "Singing lesson", "on": "2027-03-04",
                  "starts_at": "17:00", "minutes": 45, "requires_asked": "yes",
                  "requires": "people"}  # fmt: skip
        app.post("/appointments", lesson)
        app.post("/performances", {"title": "Spring recital", "on": "2027-04-17", "place": ""})
        (recital,) = app.services.state().performances.values()
        app.post(f"/performances/{recital.id}/programme", {"act": "add", "topic_id": song})
        for title in ("Sight singing", "Duet"):  # the second finds the places full: a 422
            app.post("/topics", {"title": title})
            (more,) = [t.id for t in app.services.state().topics.values() if t.title == title]
            app.post(f"/topics/{more}/place", {"place": "current"})
        whole = next(s for t, s in steps.items() if t.startswith("Whole passage"))
        flat = list(TUNE)
        flat[5], flat[13] = (65, 1), (66, 1)
        makes: dict[int, list[tuple[str, Notes]]] = {
            0: [("right.wav", TUNE * 2)],
            1: [("flat.wav", flat * 2), ("oneverse.wav", list(TUNE))],
            2: [("octave.wav", up(TUNE * 2, -12))],
            4: [("other.wav", [(60, 1), (64, 2), (65, 1), (72, 1), (70, 2)] * 4)],
            6: [("again.wav", TUNE * 2)],
        }
        answers = ["yes", "yes", "no", "cannot_tell", "yes", "no"]
        for day in (0, 1, 2, 4, 6):
            app.go_to(day, time(19, 50 if day == 2 else 31))  # once late
            if day in (0, 4, 6):
                app.post("/tomorrow", {"minutes": 35, "starts_at": "19:30", "day": "today"})
            said = app.practise(answers[day:] + answers[:day])
            (folder / f"session-{day}.txt").write_text("\n\n".join(said))
            app.go_to(day, time(21))
            for name, notes in makes[day]:
                send(app, whole, sound.take(folder / name, notes, 66, "voice"))
            app.post("/tomorrow", {"minutes": 35, "starts_at": "19:30", "day": ""})
            if day == 1:
                wishes(app, "2027-03-03")
            if day in (1, 6):
                start = ["/", *look_ahead(song), f"/topics/{song}/proposal?{urlencode(wanted)}"]
                shots = ("/", "/tomorrow", "/outlook", "/progress", f"/topics/{song}", "/settings",
                         f"/performances/{recital.id}", "/performances")  # fmt: skip
                app.read(f"{day}-evening", start=start, shots=shots if day == 6 else ())
        print(len(app.faults), "faults")
        print("\n".join(dict.fromkeys(app.faults)))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
