"""Where a step goes wrong: told from its takes, drawn under its bars, and one touch to a step."""

import re

import msgspec
import pytest
from desk import words

from coldtake.domain import events as ev
from coldtake.domain.take import Answer, NoteEvidence, NoteStatus, Verdict
from coldtake.domain.topic import PassageRef, Place

LONG = "X:1\nT:Long\nM:4/4\nL:1/4\nQ:1/4=96\nK:C\n" + "CDEF|GABc|BAGF|EDCD|EFGA|BcBA|GFED|C4|]\n"


@pytest.fixture
def step(desk, services):
    """Bars 2 to 7 of eight, at 96."""
    step = desk.step(desk.topic(place=Place.CURRENT), "Middle")
    stored = services.pile.keep_passage(LONG.encode(), "long.abc")
    ref = PassageRef(passage_id=stored.id, first_bar=2, last_bar=7)
    exercise = msgspec.structs.replace(step.exercise, passage=ref, tempo_bpm=96)
    return services.pile.keep_step(msgspec.structs.replace(step, exercise=exercise))


def take(services, step, *, wrong_bar=None, late=False):
    """A judged take with one fault in a bar of the step (from 0), as the log has it."""
    passage = services.pile.exercise_passage(step)
    faulty = next((n.id for n in passage.notes if n.bar_index == wrong_bar), "")
    notes = tuple(
        NoteEvidence(
            id=n.id,
            status=NoteStatus.WRONG if n.id == faulty and not late else NoteStatus.RIGHT,
            onset_s=n.onset_beats * 60 / 96,
            displaced=late and n.id == faulty,
            deviation_ms=120.0,
        )
        for n in passage.notes
    )
    take_id = services.log.new_id()
    recorded = ev.TakeRecorded(
        take_id=take_id, step_id=step.id, duration_s=20, sample_rate=22050, sha256="0" * 64
    )
    verdict = Verdict(
        answer=Answer.NO if wrong_bar is not None else Answer.YES,
        reason="",
        tempo_bpm=96.0,
        tests=(),
        notes=notes,
        engine="line-1",
    )
    services.append(recorded)
    services.append(ev.TakeJudged(take_id=take_id, verdict=verdict))


def test_nothing_is_said_of_one_slip(client, services, step):
    take(services, step, wrong_bar=3)
    take(services, step)
    assert "Where it goes wrong" not in client.get(f"/steps/{step.id}").text


def test_a_weak_bar_is_told_drawn_and_becomes_a_step_before_this_one(client, services, step):
    for n in range(6):
        take(services, step, wrong_bar=3 if n != 2 else None)
    page = client.get(f"/steps/{step.id}").text
    said = words(page)
    assert "Bar 5 went wrong in 5 of the last 6 takes." in said
    assert "5 wrong notes." in said
    assert "Earlier 2 of 3, lately 3 of 3." in said
    assert page.count('class="bar-mark"') == 2  # wide and narrow
    assert "5 of 6" in page
    bar = re.search(r'name="bar" value="(\d+)"', page)[1]
    cuts = re.findall(r'name="cut" value="(\w+)">Add step “([^”]+)”', page)
    assert cuts == [("slower", "Bars 4 to 6, at 72"), ("in_tempo", "Bars 4 to 5, at 96")]
    client.post(f"/steps/{step.id}/weak-bars", data={"bar": bar, "cut": "slower"})
    new, old = services.state().topic_steps(step.topic_id)
    assert (new.title, old.id) == ("Bars 4 to 6, at 72", step.id)
    assert new.exercise.passage.first_bar == 4
    assert new.exercise.passage.last_bar == 6
    assert new.exercise.tempo_bpm == 72
    assert services.pile.exercise_passage(new).bars[0].label == "4"
    assert "Bars 4 to 6, at 72”" not in client.get(f"/steps/{step.id}").text  # it is there
    again = client.post(f"/steps/{step.id}/weak-bars", data={"bar": bar, "cut": "slower"})
    assert again.status_code == 422
    assert len(services.state().topic_steps(step.topic_id)) == 2


def test_late_notes_alone_offer_the_rhythm_alone(client, services, step):
    for _ in range(5):
        take(services, step, wrong_bar=2, late=True)
    page = client.get(f"/steps/{step.id}").text
    assert "5 late notes." in words(page)
    bar = re.search(r'name="bar" value="(\d+)"', page)[1]
    client.post(f"/steps/{step.id}/weak-bars", data={"bar": bar, "cut": "rhythm"})
    new, _ = services.state().topic_steps(step.topic_id)
    assert new.title == "Bars 3 to 5, rhythm alone, at 96"
    assert new.criterion.rhythm_only


@pytest.mark.parametrize(
    "data", [{}, {"bar": "3"}, {"bar": "x", "cut": "slower"}, {"bar": "3", "cut": "slower"}]
)
def test_what_was_not_offered_is_refused(client, services, step, data):
    assert client.post(f"/steps/{step.id}/weak-bars", data=data).status_code == 422
    assert len(services.state().topic_steps(step.topic_id)) == 1
