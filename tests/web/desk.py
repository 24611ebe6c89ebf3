"""What the tests of the pages share: a client, a desk to lay things out, and reading a page."""

import re
import warnings

from coldtake.domain.criterion import default_criterion
from coldtake.domain.topic import Exercise, PassageRef, Place, Step, Topic

with warnings.catch_warnings():  # the test client asks for httpx2; httpx serves it as well
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

__all__ = ["AIR", "Desk", "TestClient", "fault_of", "words"]

AIR = "X:1\nT:Air\nM:4/4\nL:1/4\nQ:1/4=96\nK:C\nCDEF|GFED|C4|\n"


class Desk:
    """Lays things out through the services, as the pages would."""

    def __init__(self, services):
        self.services = services

    def topic(self, title="Air in C", **fields) -> Topic:
        return self.services.pile.add(title, **{"place": Place.CURRENT, **fields})

    def step(self, topic: Topic, title="Bars 1 and 2", *, passage=False, **fields) -> Step:
        if passage:
            stored = self.services.pile.keep_passage(AIR.encode(), "air.abc")
            fields["exercise"] = Exercise(passage=PassageRef(passage_id=stored.id), tempo_bpm=96)
        step = Step(
            id=self.services.log.new_id(),
            topic_id=topic.id,
            title=title,
            criterion=fields.pop("criterion", default_criterion()),
            **fields,
        )
        return self.services.pile.keep_step(step)

    def laid_out(self) -> tuple[Step, ...]:
        """Two current topics with two steps each: enough for a plan."""
        topics = (self.topic("Air in C"), self.topic("Scales"))
        return tuple(
            self.step(t, f"{t.title}, part {n}", passage=n == 1) for t in topics for n in (1, 2)
        )


def words(html: str) -> str:
    """What a page says, without its marks."""
    return " ".join(re.sub(r"<[^>]+>", " ", html).replace("&#39;", "'").split())


def fault_of(response) -> str:
    """The sentences of an error page."""
    found = re.search(r'<main id="main".*?</main>', response.text, re.DOTALL)
    return words(found[0] if found else response.text)
