"""What a pass and the cold takes mean, as the step, the take and the settings say it."""

from datetime import timedelta

from desk import words

from coldtake.domain import events as ev
from coldtake.domain.criterion import Criterion, NotesTest, Times
from coldtake.domain.ids import named_id
from coldtake.domain.take import Answer, Judge

TAKE = named_id("take", "heard before")


def said_cold(services, step, days_ago, answer):
    at = services.now() - timedelta(days=days_ago)
    data = ev.TryAnswered(
        try_id=f"{step.id}{days_ago}", step_id=step.id, answer=answer, judge=Judge.PLAYER
    )
    services.append(data, at=at, day=at.date())


def test_what_a_pass_means(client, services, desk):
    """The chances of runs are those of Feller, vol. I, ch. XIII.7; see tests/published."""
    criterion = Criterion(tests=(NotesTest(),), times=Times(wanted=3))
    step = desk.step(desk.topic(), criterion=criterion)
    page = words(client.get(f"/steps/{step.id}").text)
    assert (
        "3 in a row, passed at once: the chance of a clean first try is at least 66 in 100." in page
    )
    assert "Five in a row says less than it seems" in page
    assert "within 20 tries 25 times in 100 and within 100 tries 81 times in 100." in page
    assert "You passed it within" not in page
    for number, days_ago in enumerate(range(9, 4, -1)):
        said_cold(services, step, days_ago, Answer.NO if number == 1 else Answer.YES)
    page = words(client.get(f"/steps/{step.id}").text)
    assert "You passed it within 5 tries" in page
    assert "does so 25 times in 100." in page  # runs of 3 in 5 at one half: 8 of 32
    assert "4 of the last 5 cold takes were clean. From cold takes only, the chance" in page


def test_the_held_test_speaks_only_when_it_is_wished_for(client, services, desk):
    step = desk.step(desk.topic())
    for days_ago in range(8, 0, -1):
        said_cold(services, step, days_ago, Answer.YES)
    assert "Held-test" not in words(client.get(f"/steps/{step.id}").text)
    client.post("/settings", data={"held_test": "1"})
    page = words(client.get(f"/steps/{step.id}").text)
    assert "Held-test, 60% against 90%: held. This is wrong for at most 5% of weak steps." in page
    client.post("/settings", data={"held_good": "80"})
    page = words(client.get(f"/steps/{step.id}").text)
    assert "Held-test, 60% against 80%: 8 clean, 0 not, no decision yet." in page
    assert "Held after 3 more clean in a row" in page  # (4/3)^11 > 18 > (4/3)^10
    refused = client.post("/settings", data={"held_poor": "80"})
    assert refused.status_code == 422
    assert (
        "80 does not go with “A step is held if this share of its cold takes is clean”, which is 80"
        in words(refused.text)
    )


def test_a_cold_take_says_what_it_supports_once_it_is_answered(client, services, desk):
    step = desk.step(desk.topic())
    data = ev.TakeRecorded(
        take_id=TAKE, step_id=step.id, duration_s=2, sample_rate=8000, sha256="0" * 64
    )
    services.append(data)
    assert "cold take" not in words(client.get(f"/takes/{TAKE}").text).replace("a cold take", "")
    client.post(f"/takes/{TAKE}/answer", data={"answer": "yes"})
    page = words(client.get(f"/takes/{TAKE}").text)
    # beta(1.5, 0.5) at a tenth, by scipy.stats: 0.351
    assert "The only cold take was clean. From cold takes only, the chance" in page
    assert "is at least 35 in 100, right 4 times in 5." in page
    client.post(f"/takes/{TAKE}/answer", data={"answer": "cannot_tell"})
    assert "The only cold take" not in words(client.get(f"/takes/{TAKE}").text)
