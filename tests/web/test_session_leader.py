"""Who leads a session that several devices have open."""

from coldtake.web.session_leader import FORGOTTEN_S, Leads


class Time:
    def __init__(self):
        self.now = 0.0

    def __call__(self):
        return self.now


def told(leads, device, *, claims=True, take=False):
    return leads.ask("s", device, f"the {device}", claims=claims, take=take)


def test_the_first_leads_and_the_others_follow():
    leads = Leads(Time())
    assert told(leads, "tablet").leads
    other = told(leads, "laptop")
    assert (other.leads, other.by) == (False, "the tablet")
    assert told(leads, "tablet").leads


def test_a_touch_takes_over_and_the_old_one_learns_it():
    leads = Leads(Time())
    told(leads, "tablet")
    assert told(leads, "laptop", claims=False, take=True).leads
    assert told(leads, "tablet").by == "the laptop"


def test_silence_hands_nothing_over_by_itself():
    time = Time()
    leads = Leads(time)
    told(leads, "tablet")
    time.now = FORGOTTEN_S - 1
    assert not told(leads, "laptop").leads
    assert told(leads, "laptop").quiet_s == FORGOTTEN_S - 1
    assert told(leads, "tablet").leads
    time.now = 3 * FORGOTTEN_S
    assert not told(leads, "laptop", claims=False).leads, "a follower never leads by itself"
    assert told(leads, "laptop").leads, "a page opened afresh does"


def test_after_a_restart_the_one_that_says_so_leads():
    leads = Leads(Time())
    assert not told(leads, "laptop", claims=False).leads
    assert told(leads, "tablet").leads
    assert not told(leads, "laptop", claims=False).leads
