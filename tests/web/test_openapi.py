"""The app against its own description: whatever is sent, it never answers that it broke.

schemathesis makes the requests from the description (D. Dygalo, "Schemathesis", schemathesis.io).
"""

import os

import pytest
import schemathesis
from description import described
from desk import AIR
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.strategies import booleans

from coldtake.web.app import create_app

EXAMPLES = int(os.environ.get("COLDTAKE_EXAMPLES", "3"))  # of each operation, always the same


@pytest.fixture
def laid_out(services, desk):
    """Ids that are really there, by the name of their place in an address."""
    first, *_ = desk.laid_out()
    stored = services.pile.keep_passage(AIR.encode(), "air.abc", "Another")
    return {"topic_id": first.topic_id, "step_id": first.id, "passage_id": stored.id}


def tried(operation, answer_to) -> None:
    @settings(
        max_examples=EXAMPLES,
        derandomize=True,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(operation.as_strategy(), booleans())
    def one(case, known):
        answer_to(case, known)

    one()


@pytest.mark.long
def test_nothing_that_fits_the_description_breaks_it(services, laid_out):
    schema = schemathesis.openapi.from_dict(described(create_app(services)))
    schema.app = create_app(services)
    broken, answered = [], {}

    def answer_to(case, known):
        places = {n: v for n, v in laid_out.items() if known and n in (case.path_parameters or {})}
        case.path_parameters = {**(case.path_parameters or {}), **places}
        answer = case.call(base_url="http://localhost")
        answered.setdefault(answer.status_code, set()).add(case.path)
        if answer.status_code >= 500:
            broken.append((case.method, case.formatted_path, answer.status_code, case.body))

    for operation in schema.get_all_operations():
        tried(operation.ok(), answer_to)
    assert broken == []
    assert {200, 404, 422} <= set(answered)
    assert len(set().union(*answered.values())) > 45
