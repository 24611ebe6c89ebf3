"""One state, one number for one question: on every page, on the command line, in a plan's reasons.

Numbers are read where a reader finds them: from the pages' own marks (`chances.html`) and words,
from what the commands print, and from the sentences of the plan.
"""

import json
import random
import re
from collections import defaultdict
from datetime import date, timedelta
from html.parser import HTMLParser

import pytest
from desk import Desk, TestClient, words

from coldtake.bootstrap import open_services
from coldtake.cli import main
from coldtake.domain import events as ev
from coldtake.domain.estimate import Interval
from coldtake.domain.plan import PlanRequest
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import TopicKind
from coldtake.planning.words import between, in_hundred
from coldtake.web.app import create_app
from making import SteppingClock


class Marked(HTMLParser):
    """Collects the numbers of a page: (question, of, on) -> value, limits and words."""

    def __init__(self, html):
        super().__init__()
        self.found, self._open = [], None
        self.feed(html)

    def handle_starttag(self, _tag, attrs):
        kept = dict(attrs)
        if "data-chance" in kept:
            self._open = (kept, [])

    def handle_data(self, data):
        if self._open:
            self._open[1].append(data)

    def handle_endtag(self, tag):
        if self._open and tag == "span":
            kept, said = self._open
            self.found.append((kept, " ".join("".join(said).split())))
            self._open = None


def invented(services, seed):
    """Lay out topics of every kind with dates, a performance, and three weeks of tries."""
    rng, desk = random.Random(seed), Desk(services)
    on = services.today() + timedelta(days=rng.choice([1, 2, 20, 49, 100]))
    made = []
    for n in range(4):
        topic = desk.topic(
            f"Topic {n}",
            kind=rng.choice(list(TopicKind)),
            importance=rng.randint(1, 5),
            performance_on=on if n == 0 else None,
        )
        steps = []
        for i in range(rng.randint(1, 4)):
            needs = (steps[-1].id,) if steps and rng.random() < 0.5 else ()
            steps.append(desk.step(topic, f"{topic.title}, step {i}", needs=needs))
        made.append((topic, steps))
    services.pile.add("Waits without steps", importance=1)
    for ago in range(21, 0, -1):
        for _, steps in made[: rng.randint(2, 4)]:
            for step in steps[: rng.randint(0, len(steps))]:
                tried(services, step, ago, yes=rng.random() < 0.6)
    programme = [topic.id for topic, _ in made[:2]]
    services.performances.add("Concert", on, programme=programme)
    services.performances.add("Again", on + timedelta(days=9), programme=programme[:1])


def tried(services, step, ago, *, yes):
    services.append(
        ev.TryAnswered(
            try_id=services.log.new_id(),
            step_id=step.id,
            answer=Answer.YES if yes else Answer.NO,
            judge=Judge.PLAYER,
        ),
        ev.SlotEnded(session_id="s", slot_id="x", step_id=step.id, played_s=480),
        at=services.now() - timedelta(days=ago),
        day=services.today() - timedelta(days=ago),
    )


@pytest.fixture(params=["example", 1, 2, 3])
def told(request, tmp_path, monkeypatch):
    """A data folder with a state, its clock, and services over it."""
    clock = SteppingClock()
    if request.param == "example":
        example = request.getfixturevalue("example")
        clock.instant = example.now()
    monkeypatch.setattr("coldtake.bootstrap.SystemClock", lambda: clock)
    services = open_services(tmp_path / "data", clock=clock)
    if request.param == "example":
        services.log.keep([event for _, event in example.store.events()])
    else:
        invented(services, request.param)
    yield tmp_path / "data", services
    services.close()


def pages(services):
    """Every page that speaks of a date, as it reads."""
    state = services.state()
    paths = [
        "/outlook/dates",
        "/triage",
        "/what-if/numbers?more_min=20",
        *(f"/performances/{i}/readiness" for i in state.performances),
        *(f"/steps/{i}/chances" for i in state.steps),
        *(f"/steps/{i}" for i in state.steps),
    ]
    with TestClient(create_app(services), base_url="http://localhost") as client:
        for path in paths:
            page = client.get(path)
            while 'hx-trigger="load delay' in page.text:
                page = client.get(f"{path}&poll=1")
            assert page.status_code == 200
            yield path, page.text


def numbers(services):
    """All numbers of all pages by question: {question: {value as written: [pages]}}."""
    found = defaultdict(lambda: defaultdict(list))
    for path, html in pages(services):
        for kept, said in Marked(html).found:
            key = (kept["data-chance"], kept["data-of"], date.fromisoformat(kept["data-on"]))
            found[key][kept["data-value"]].append(path)
            check_words(kept, said)
        assert " points" not in words(html)
    return found


def check_words(kept, said):
    """What a reader reads is the number that the mark holds, in the house's words."""
    value = float(kept["data-value"])
    if kept["data-chance"] == "expected":
        shown = float(re.match(r"[\d.]+", said)[0])
        if "data-low" in kept:
            value = min(max(round(value), float(kept["data-low"])), float(kept["data-high"]))
        assert shown == pytest.approx(value, abs=0.051)
    elif "data-low" in kept:
        ends = Interval(low=float(kept["data-low"]), mid=value, high=float(kept["data-high"]))
        assert said == between(ends)
    else:
        assert said == in_hundred(value)


def only(found, question, of, on):
    [value] = found[question, of, on]
    return float(value)


@pytest.mark.long
def test_one_question_has_one_number_everywhere(told, capsys):
    folder, services = told
    found = numbers(services)
    assert {key[0] for key in found} >= {"alone", "planned", "expected", "all-clean"}
    for key, values in found.items():
        assert len(values) == 1, (key, {v: sorted(set(p)) for v, p in values.items()})
    check_reasons(services, found)
    ahead = services.reports.ahead()
    services.close()  # the commands open the folder themselves
    check_commands(folder, found, ahead, capsys)


def check_reasons(services, found):
    """The plan's sentences say the numbers of the steps' own pages."""
    today, state = services.today(), services.state()
    tomorrow = today + timedelta(days=1)
    request = PlanRequest(day=tomorrow, starts_at=services.now().time(), minutes=60)
    plan = services.plans.propose(request)
    said = [(s.step_id, s.reason) for s in plan.slots] + [
        (s.step_id, s.reason) for s in plan.left_out
    ]
    first_slots = {}
    for step_id, reason in said:
        first_slots.setdefault(step_id, reason)
    checked = 0
    for step_id, reason in first_slots.items():
        when = state.topic_date(state.steps[step_id].topic_id, tomorrow)
        on = when if when and when > tomorrow else tomorrow + timedelta(days=56)
        if told_now := re.search(r"clean first try on \d+ \w+: (.*? in 100)[.;]", reason):
            alone = only(found, "alone", step_id, tomorrow)
            assert told_now[1] == in_hundred(alone)
            checked += 1
        elif told_then := re.search(r"clean first try on (\d+ \w+) from (.*?) to ", reason):
            assert told_then[1] == f"{on.day} {on:%B}"
            alone = only(found, "alone", step_id, on)
            assert told_then[2] == in_hundred(alone).removesuffix(" in 100")
            checked += 1
    assert checked or not plan.slots


def check_commands(folder, found, ahead, capsys):
    assert main(["outlook", "--data", str(folder), "--json"]) == 0
    outlooks = json.loads(capsys.readouterr().out)
    assert [o["topic_id"] for o in outlooks] == [o.topic_id for o in ahead]
    assert main(["outlook", "--data", str(folder)]) == 0
    text = capsys.readouterr().out
    for one in outlooks:
        on = date.fromisoformat(one["on"])
        if not one["enough"]:
            continue
        of = one["topic_id"]
        assert str(one["expected_steps"]) in found["expected", of, on]
        assert str(one["ready_chance"]) in found["all-clean", of, on]
        assert in_hundred(one["ready_chance"]) in text
        if one.get("on_stage"):
            assert str(one["on_stage"]["mid"]) in found["stage", of, on]
        for step in one["steps"]:
            assert str(step["chance"]["mid"]) in found["planned", step["step_id"], on]
    assert main(["what-if", "--data", str(folder), "--minutes", "20", "--json"]) == 0
    for one in json.loads(capsys.readouterr().out)["topics"]:
        on = date.fromisoformat(one["on_now"])
        assert str(one["steps_now"]) in found["expected", one["topic_id"], on]
        assert str(one["whole_now"]) in found["all-clean", one["topic_id"], on]
    for (question, _, _), values in found.items():
        if question == "programme":
            [value] = values
            assert f"every piece clean on stage: {in_hundred(float(value))} (" in text
