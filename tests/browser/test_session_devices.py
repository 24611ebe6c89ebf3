"""Two devices in one session: one leads, the other follows or takes over; nothing is doubled."""

from collections import Counter

import pytest
from stand import Stand, laid_out, plan_today, slot

from coldtake.bootstrap import open_services
from coldtake.domain import events as ev

pytestmark = pytest.mark.browser

MARKS = "() => document.querySelectorAll('#bar .mark').length === {}"
LED = "() => document.querySelector('#notices').textContent.includes('A computer controls')"


@pytest.fixture
def data(tmp_path):
    folder = tmp_path / "data"
    services = open_services(folder)
    steps = laid_out(services)
    plan_today(services, [slot(steps["row"], 9), slot(steps["air"], 8), slot(steps["own"], 7)])
    services.close()
    return folder


def device(open_page, url):
    """A browser of its own: nothing is shared with the other but the server."""
    page = open_page()
    page.clock.install()
    return Stand(page, url).open()


def told(data):
    services = open_services(data)
    found = [e for _, e in services.store.events()]
    services.close()
    return found


def test_one_leads_the_other_takes_over_and_alone_they_double_nothing(
    data, served_process, open_page
):
    server = served_process(data)
    tablet = device(open_page, server.url).begin()
    laptop = device(open_page, server.url).sees("slot", "Again")
    laptop.page.wait_for_function(LED)
    tablet.press("n")
    laptop.page.wait_for_function(MARKS.format(1))
    laptop.press("y")  # who follows writes nothing
    laptop.press("t", "y")
    tablet.page.wait_for_function(LED)
    tablet.page.wait_for_function(MARKS.format(2))
    laptop.sent()

    server.kill()
    tablet.press("t")  # both lead now, and neither knows
    for one in (tablet, laptop):
        one.forward(541).sees("slot", "Bars 1 to 3").press("n")
    server.start()
    for one in (tablet, laptop):
        one.sent()
        one.page.wait_for_function(MARKS.format(2))
    kept = tablet.kept_ids() | laptop.kept_ids()
    server.kill()
    events = told(data)
    assert Counter(e.id for e in events).most_common(1)[0][1] == 1
    assert kept <= {e.id for e in events}
    kinds = Counter(type(e.data) for e in events)
    assert kinds[ev.SlotStarted] == 2, "time's own events are one, whoever wrote them"
    assert kinds[ev.SlotEnded] == 1
    answers = [e.data.answer for e in events if isinstance(e.data, ev.TryAnswered)]
    assert answers == ["no", "yes", "no", "no"]


def test_an_answer_from_before_the_start_does_not_take_the_session_away(open_page, served):
    """Asked before there was a session, answered after it began: that says nothing of it."""
    steps = laid_out(served.services)
    plan_today(served.services, [slot(steps["row"], 9), slot(steps["own"], 7)])
    page = open_page()
    held = []

    def late(route):
        asked = route.request.post_data_json
        if asked["session_id"] == "" and not held:
            held.append(route)
        else:
            route.continue_()

    page.route("**/api/session/lead", late)
    stand = Stand(page, served.url).open()
    while not held:
        page.wait_for_timeout(50)
    stand.press("Space").sees("intention")
    with page.expect_response("**/api/session/lead"):
        held[0].continue_()
    page.wait_for_timeout(300)
    stand.press("Enter").sees("quiet")
