"""Telling the example on a draft, then handing it over whole: sound first, then the log."""

from datetime import date, datetime, time, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from coldtake.demo.seeded import Draft, StoryClock
from coldtake.demo.story import DAYS, Story
from coldtake.ports import Progress
from coldtake.practice.services import House, Services
from coldtake.storage.takes import FolderTakes

FIRST_EVENING = time(19, 30)


def build(
    services: Services, *, today: date, seed: int = 11, progress: Progress | None = None
) -> None:
    """Fill an empty log with the example, its history ending the day before `today`.

    Today's plan is still to come when the example is opened; late in the evening there is
    tomorrow's alone. All or nothing: a fault, or a `progress` that asks to stop, leaves the log
    empty. The same instant, zone and seed give the same events. Raises RuleError when the log is
    not empty.
    """
    services.check_empty()
    with TemporaryDirectory(prefix="coldtake-demo-") as folder:
        told = _tell(services, today, seed, progress, Path(folder))
        if told is not None:
            _hand_over(told, services)


def _tell(
    services: Services, today: date, seed: int, progress: Progress | None, folder: Path
) -> House | None:
    zone = services.now().tzinfo
    start = datetime.combine(today - timedelta(days=DAYS + 1), FIRST_EVENING, zone)
    clock = StoryClock(start, seed)
    draft = House(Draft(), FolderTakes(folder), clock)
    story = Story(draft, clock, today, seed, opened_at=services.now())
    story.lay_out()
    for done, index in enumerate(range(-DAYS, 0)):
        if progress and not progress.step(done, DAYS, "Making six weeks of practice …"):
            return None
        story.day(index)
    story.finish()
    return draft


def _hand_over(told: House, services: Services) -> None:
    takes = told.state().takes.values()
    sounds = ((take.id, told.takes.sound(take.id).read_bytes()) for take in takes)
    services.fill([event for _, event in told.store.events()], sounds)
