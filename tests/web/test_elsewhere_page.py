"""Practice without the tool is entered on the step's page."""

import pytest
from desk import words


@pytest.fixture
def step(desk):
    return desk.step(desk.topic())


def test_it_is_added_and_seen(client, services, step):
    day = services.today().isoformat()
    form = {"minutes": "20", "day": day, "answer": "yes"}
    page = client.post(f"/steps/{step.id}/elsewhere", data=form)
    assert page.status_code == 200
    assert services.state().minutes_of[step.id] == 20.0
    assert "No tries yet" not in words(page.text)


@pytest.mark.parametrize(
    "form",
    [
        {"minutes": "x", "day": "2027-01-12", "answer": ""},
        {"minutes": "20", "day": "9999-12-31", "answer": ""},
        {"minutes": "20", "day": "never", "answer": ""},
        {"minutes": "20", "day": "0001-01-01", "answer": ""},
        {"minutes": "20", "day": "2027-01-12", "answer": "perhaps"},
        {"minutes": "1e400", "day": "2027-01-12", "answer": ""},
    ],
)
def test_what_cannot_be_is_refused_in_words(client, services, step, form):
    before = services.store.last_sequence()
    assert 400 <= client.post(f"/steps/{step.id}/elsewhere", data=form).status_code < 500
    assert services.store.last_sequence() == before
