"""Long work: one at a time, told as it goes, stopped between its units, gone on with."""

import threading

import pytest

from coldtake.errors import BusyError, InputError
from coldtake.ports import Cancelled
from coldtake.practice.jobs import OWN_FAULT, Jobs, Stage
from coldtake.subprocesses import WorkerCancelled


class Gate:
    """Work of ten units that waits at each until it is let through."""

    def __init__(self):
        self.units, self.let, self.at = [], threading.Semaphore(0), threading.Semaphore(0)

    def __call__(self, progress):
        for n in range(10):
            going = progress.step(n, 10, f"unit {n}")
            self.at.release()
            if not going:
                raise Cancelled
            self.let.acquire()
            self.units.append(n)
        return "ten units"


@pytest.fixture
def jobs():
    made = Jobs()
    yield made
    made.close()


def test_it_tells_how_far_it_is_and_what_came_of_it(jobs):
    gate = Gate()
    jobs.start("count", "Counting", gate, page="/")
    for _ in range(4):
        gate.at.acquire()
        gate.let.release()
    gate.at.acquire()
    assert (jobs.now().share, jobs.now().words, jobs.now().running) == (0.4, "unit 4", True)
    gate.let.release(10)
    jobs.wait(10)
    ended = jobs.now()
    assert (ended.stage, ended.words, ended.share) == (Stage.DONE, "ten units", 1.0)
    jobs.seen()
    assert jobs.now() is None


def test_a_second_one_waits_for_the_first(jobs):
    gate = Gate()
    jobs.start("count", "Counting", gate)
    with pytest.raises(BusyError, match="“Counting” is still running"):
        jobs.start("other", "Another", lambda _: "")
    jobs.seen()
    assert jobs.now("count").running
    assert jobs.now("other") is None
    gate.let.release(10)
    jobs.wait(10)
    assert jobs.start("other", "Another", lambda _: "").kind == "other"


def test_it_stops_between_units(jobs):
    gate = Gate()
    jobs.start("count", "Counting", gate)
    gate.at.acquire()
    jobs.stop()
    assert jobs.now().stage is Stage.STOPPING
    gate.let.release(10)
    jobs.wait(10)
    assert jobs.now().stage is Stage.STOPPED
    assert gate.units == [0]


@pytest.mark.parametrize(
    ("raised", "stage", "fault"),
    [
        (WorkerCancelled(), Stage.STOPPED, None),
        (InputError("Half of it is missing."), Stage.FAILED, "Half of it is missing."),
        (ZeroDivisionError(), Stage.FAILED, str(OWN_FAULT)),
    ],
)
def test_how_it_can_end(jobs, raised, stage, fault):
    def work(progress):
        raise raised

    jobs.start("break", "Breaking", work)
    jobs.wait(10)
    assert jobs.now().stage is stage
    assert (str(jobs.now().fault) if jobs.now().fault else None) == fault
