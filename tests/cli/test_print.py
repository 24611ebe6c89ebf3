"""`coldtake print`: a PDF of the plan or of some exercises."""

import json
import subprocess

import pytest

from coldtake.bootstrap import open_services
from coldtake.cli import main
from coldtake.domain.criterion import default_criterion
from coldtake.domain.topic import Exercise, PassageRef, Place, Step

ABC = "X:1\nT:Air\nM:4/4\nL:1/4\nK:C\nCDEF|GFED|C4|\n"


@pytest.fixture
def folder(tmp_path):
    services = open_services(tmp_path / "data")
    topic = services.pile.add("Air in C", place=Place.CURRENT)
    passage = services.pile.keep_passage(ABC.encode(), "air.abc")
    exercise = Exercise(passage=PassageRef(passage_id=passage.id), tempo_bpm=96)
    ids = [
        services.pile.keep_step(
            Step(
                id=services.log.new_id(),
                topic_id=topic.id,
                title=title,
                criterion=default_criterion(),
                exercise=exercise,
            )
        ).id
        for title in ("Bars 1 and 2", "The whole air")
    ]
    services.close()
    return tmp_path / "data", topic.id, ids


def text_of(path):
    return subprocess.run(
        ["pdftotext", path, "-"], capture_output=True, text=True, check=True
    ).stdout


def test_the_plan_and_chosen_exercises(folder, tmp_path, capsys):
    data, topic, ids = folder
    out = tmp_path / "out.pdf"
    common = ["--data", str(data), "-o", str(out)]
    assert main(["print", *common, "--plan", "tomorrow", "--paper", "letter"]) == 0
    assert "on letter" in capsys.readouterr().out
    assert "Bars 1 and 2" in text_of(out)
    assert main(["print", *common, "--steps", ids[1], "--replace", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["paper"], told["exercises"], told["title"]) == ("A4", 1, "Air in C")
    assert "The whole air" in text_of(out)
    assert "Bars 1 and 2" not in text_of(out)
    assert main(["print", *common, "--topic", topic, "--replace"]) == 0
    assert "2 exercises" in text_of(out)


def test_what_cannot_be_printed(folder, tmp_path, capsys):
    data, _topic, ids = folder
    out = tmp_path / "out.pdf"
    out.write_text("mine")
    common = ["--data", str(data), "-o", str(out)]
    new = ["--data", str(data), "-o", str(tmp_path / "new.pdf")]
    gone = ["--data", str(data), "-o", str(tmp_path / "gone" / "x.pdf")]
    for words, status, said in (
        ([*common], 2, "A file of that name exists already."),
        ([*new, "--paper", "A0"], 2, "is not a paper size"),
        ([*new, "--steps", "none"], 2, "This step was not found"),
        ([*new, "--topic", "none"], 2, "topic"),
        ([*new, "--steps", ids[0], "--plan", "today"], 2, "A plan and exercises"),
        ([*gone, "--steps", ids[0]], 4, "could not be written"),
    ):
        assert main(["print", *words]) == status
        told = capsys.readouterr()
        assert said in told.err
        assert told.out == ""
    assert out.read_text() == "mine"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["data", "out.pdf"]
