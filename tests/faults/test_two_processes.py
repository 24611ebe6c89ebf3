"""Two processes on the same data at once: nothing is lost, doubled or half seen."""

import random
import sys
import threading
from pathlib import Path

import pytest
from killing import Say, killed, quick_folder, ran
from test_kill_session import _answer, session

from coldtake.bootstrap import SystemClock, open_services
from coldtake.practice.archive import Archive, export, restore

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="fork is a Unix thing")


def test_a_page_goes_on_while_another_process_practises_and_is_killed():
    chance = random.Random(20270117)
    with quick_folder() as folder:
        services, clock = open_services(folder), SystemClock()
        mine, theirs = [], []
        for _ in range(6):
            said, _ = killed(session, folder, chance, within_s=0.01, lines=8)
            theirs += [line.split()[1] for line in said if line.startswith("event")]
            one = _answer(clock, chance)
            services.store.append([one])
            mine.append(one.id)
        kept = [event.id for _, event in services.store.events()]
        assert len(set(kept)) == len(kept)
        assert {*mine, *theirs} <= set(kept)
        assert len(services.state().tries) == len(set(kept)) - len(services.state().topics) - len(
            services.state().takes
        )
        services.close()


def test_a_restore_is_seen_by_another_process_whole_or_not_at_all():
    with quick_folder() as folder:
        source = open_services(folder / "source")
        clock, chance = SystemClock(), random.Random(1)
        source.store.append([_answer(clock, chance) for _ in range(1500)])
        export(source, folder / "all.zip")
        source.close()

        def bring(place: Path, _chance: random.Random, say: Say) -> None:
            services = open_services(place)
            say("begun")
            with Archive(folder / "all.zip") as archive:
                restore(services, archive)
            say("end")

        reader = open_services(folder)
        seen = set()

        watching = threading.Event()

        def watch() -> None:
            while not watching.wait(0.001):
                seen.add(reader.store.last_sequence())

        thread = threading.Thread(target=watch)
        thread.start()
        said = ran(bring, folder, random.Random(2))
        watching.set()
        thread.join()
        assert said == ["end"]
        assert seen <= {0, 1500}
        assert reader.store.last_sequence() == 1500
        reader.close()
