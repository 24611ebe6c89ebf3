"""The plan page under wishes in any order: a slot that says it stays is where it was, or named."""

import html
import random
import re

import pytest
from desk import fault_of, words

from coldtake.domain.events import TryAnswered
from coldtake.domain.take import Answer, Judge

ACTS = ("pin", "unpin", "earlier", "later", "longer", "shorter", "refuse", "swap", "add", "again")
SLOT = re.compile(r'<li class="slot( pinned)?" data-slot="([^"]+)">(.*?)</li>', re.DOTALL)


class Page:
    """The page as its player reads it."""

    def __init__(self, text):
        self.remarks = [html.unescape(r) for r in re.findall(r'<p class="remark">(.*?)</p>', text)]
        self.slots, self.pinned = [], {}
        for stays, slot_id, body in SLOT.findall(text):
            at = re.search(r'class="at">([^<]+)<', body)[1]
            minutes = re.search(r'class="min">(\d+) min<', body)[1]
            title = html.unescape(re.search(r"<h3><a[^>]*>(.*?)</a></h3>", body)[1])
            self.slots.append(slot_id)
            if stays:
                self.pinned[slot_id] = (title, "cold take, one try" in body, minutes, at)
        self.out = re.findall(r'name="step_id" value="([^"]+)"', text)

    def says(self, title):
        return any(r.startswith(f"“{title}”") for r in self.remarks)


class Player:
    def __init__(self, client, seed):
        self.client, self.rng = client, random.Random(seed)
        self.page = Page(client.get("/tomorrow").text)
        self.acted = 0

    def act(self):
        """Do one thing; return (name, slot touched, the page before, the page after)."""
        before, name = self.page, self.rng.choice(ACTS)
        slot_id = self.rng.choice(before.slots)
        form = {"act": name, "slot_id": slot_id, "day": ""}
        if name in ("swap", "add"):
            if not before.out:
                return None
            form["step_id"] = self.rng.choice(before.out)
        if name == "again":
            form = {"minutes": self.rng.choice(["45", "60", "75"]), "starts_at": "17:00", "day": ""}
            answer = self.client.post("/tomorrow", data=form)
        else:
            answer = self.client.post("/tomorrow/change", data=form)
        if answer.status_code == 422:
            assert "needs at least one slot" in fault_of(answer)
            return None
        assert answer.status_code == 200, fault_of(answer)
        self.page, self.acted = Page(answer.text), self.acted + 1
        return name, slot_id, before, self.page


@pytest.fixture
def pile(desk, services):
    """Three current topics with four steps each, some of them played before."""
    topics = [desk.topic(title) for title in ("Air in C", "Scales", "Study in G")]
    steps = [desk.step(t, f"{t.title}, part {n}") for t in topics for n in range(1, 5)]
    for step in steps[::2]:
        said = {"answer": Answer.NO, "judge": Judge.PLAYER}
        services.append(TryAnswered(try_id=services.log.new_id(), step_id=step.id, **said))
    return steps


@pytest.mark.long
@pytest.mark.parametrize("seed", range(3))
def test_what_says_it_stays_stands_or_is_named(client, pile, seed):
    client.post("/tomorrow", data={"minutes": "60", "starts_at": "17:00", "day": ""})
    player = Player(client, seed)
    checked = 0
    for _ in range(14):
        done = player.act()
        if done is None:
            continue
        name, touched, before, after = done
        there = list(after.pinned.values())
        # Neighbours of a slot that was moved or given another length make room for it.
        if name in ("earlier", "later", "longer", "shorter"):
            continue
        for slot_id, known in before.pinned.items():
            if slot_id == touched and name in ("unpin", "refuse", "swap"):
                continue
            title = known[0]
            checked += 1
            assert known in there or after.says(title) or before.says(title), (name, known)
    assert player.acted > 8
    assert checked > 5


def test_the_slot_pinned_first_outlives_a_refusal_and_a_swap(client, services, pile):
    client.post("/tomorrow", data={"minutes": "60", "starts_at": "17:00", "day": ""})
    day = services.plans.tomorrow()
    first = services.plans.plan(day).slots[0]

    def change(act, slot, **more):
        form = {"day": "", "act": act, "slot_id": slot.id, **more}
        answer = client.post("/tomorrow/change", data=form)
        assert answer.status_code == 200, fault_of(answer)
        return Page(answer.text), services.plans.plan(day)

    _, plan = change("pin", first)
    _, plan = change("refuse", plan.slots[2])
    out = next(o.step_id for o in plan.left_out if o.reason != "Removed by you.")
    page, _ = change("swap", plan.slots[1], step_id=out)
    kept = next(iter(page.pinned.values()))
    title = services.pile.step(first.step_id).title
    assert kept == (title, first.kind == "cold", str(first.minutes), "17:00")


def test_a_step_deleted_after_it_was_pinned_is_said(client, services, pile):
    client.post("/tomorrow", data={"minutes": "60", "starts_at": "17:00", "day": ""})
    day = services.plans.tomorrow()
    first = services.plans.plan(day).slots[0]
    client.post("/tomorrow/change", data={"day": "", "act": "pin", "slot_id": first.id})
    client.post(f"/steps/{first.step_id}/drop")
    again = client.post("/tomorrow", data={"minutes": "60", "starts_at": "17:00", "day": ""})
    assert again.status_code == 200, fault_of(again)
    assert "its step was deleted" in words(again.text)


def test_what_was_asked_for_and_found_no_room_can_be_taken_back(client, services, pile):
    client.post("/tomorrow", data={"minutes": "10", "starts_at": "17:00", "day": ""})
    day = services.plans.tomorrow()
    first = services.plans.plan(day).slots[0]
    client.post("/tomorrow/change", data={"day": "", "act": "longer", "slot_id": first.id})
    for _ in range(9):
        plan = services.plans.plan(day)
        slot = next(s for s in plan.slots if s.step_id == first.step_id)
        client.post("/tomorrow/change", data={"day": "", "act": "longer", "slot_id": slot.id})
    other = next(s for s in pile if s.id != first.step_id)
    page = client.post("/tomorrow/change", data={"day": "", "act": "add", "step_id": other.id})
    assert f"“{other.title}” has no room" in words(page.text)
    assert "Undo request" in page.text
    after = client.post("/tomorrow/change", data={"day": "", "act": "allow", "step_id": other.id})
    assert "Undo request" not in after.text
    assert "has no room" not in after.text
