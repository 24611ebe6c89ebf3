"""`coldtake what-if`: the answer in words and JSON, and what cannot be supposed."""

import json
import re
from datetime import date

import pytest

from coldtake.bootstrap import open_services
from coldtake.cli import main
from coldtake.domain.criterion import default_criterion
from coldtake.domain.topic import Place, Step
from coldtake.planning.what_if.comparison import BATCHES, DRAWS


@pytest.fixture
def data(tmp_path):
    """Two current topics of three steps, and one that waits without a step."""
    services = open_services(tmp_path / "data")
    for title in ("Scales", "Tune"):
        topic = services.pile.add(title, place=Place.CURRENT)
        for n in range(3):
            services.pile.keep_step(
                Step(
                    id=services.log.new_id(),
                    topic_id=topic.id,
                    title=f"{title} {n}",
                    criterion=default_criterion(),
                )
            )
    services.pile.add("Long tones")
    services.close()
    return tmp_path / "data"


@pytest.fixture
def said(data, capsys, monkeypatch):
    monkeypatch.delenv("COLDTAKE_DATA", raising=False)

    def run(*words):
        status = main(["what-if", "--data", str(data), *words])
        out, err = capsys.readouterr()
        return status, out, err

    return run


def test_in_words(said):
    status, out, _ = said("--take-on", "long tones")
    assert status == 0
    assert out.startswith("With “Long tones” as a third topic, about ")
    assert re.search(
        r"  Scales, on \S+: \d\.\d, with change \d\.\d of 3 \(([−+]\d\.\d|no clear difference)\); "
        r"all of them: ",
        out,
    )
    assert "no steps yet" in out


def test_as_json(said, data):
    status, out, _ = said("--minutes", "20", "--importance", "Tune", "5", "--json")
    assert status == 0
    found = json.loads(out)
    assert found["draws"] == BATCHES * DRAWS
    assert [t["steps"] for t in found["topics"]] == [3, 3]
    assert found["all"]["error"] > 0.0
    services = open_services(data)
    assert services.state().settings == {}
    services.close()


def test_a_date_and_a_holiday(said):
    day = f"{date.today().year + 1}-01-01"
    status, out, _ = said("--date", "Tune", day)
    assert (status, "With “Tune” on 1 January" in out) == (0, True)
    status, out, _ = said("--free-from", "tomorrow", "--free-days", "7")
    assert (status, "With 7 days without practice from" in out) == (0, True)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((), "No change is named"),
        (("--take-on", "Nocturne"), "The topic “Nocturne” was not found"),
        (("--date", "Tune", "soon"), "not a date"),
        (("--importance", "Tune", "9"), "not an importance"),
        (("--free-days", "3"), "need a first day"),
        (("--minutes", "x"), "invalid number value"),
    ],
)
def test_what_cannot_be_supposed(said, words, sentence):
    status, out, err = said(*words)
    assert (status, out) == (2, "")
    assert sentence in err


def test_an_empty_folder(tmp_path, capsys):
    assert main(["what-if", "--data", str(tmp_path / "none"), "--minutes", "5"]) == 0
    assert "There is no outlook yet" in capsys.readouterr().out
