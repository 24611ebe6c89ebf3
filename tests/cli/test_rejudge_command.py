"""`coldtake rejudge` on a folder with one take that an older listener judged."""

import io
import json

import msgspec
import numpy as np
import soundfile

from coldtake.bootstrap import open_services
from coldtake.cli import main
from coldtake.domain import events as ev
from coldtake.domain.take import Answer, NewTake, Verdict
from coldtake.domain.topic import Exercise, PassageRef, Place
from coldtake.listening.engine import ENGINE
from making import step

AIR = b"X:1\nT:Air\nM:4/4\nL:1/4\nK:C\nCDEF|GFED|C4|\n"


def with_old_verdict(folder) -> str:
    services = open_services(folder)
    topic = services.pile.add("Air", place=Place.CURRENT)
    stored = services.pile.keep_passage(AIR, "air.abc")
    exercise = Exercise(passage=PassageRef(passage_id=stored.id))
    made = services.pile.keep_step(
        msgspec.structs.replace(step(exercise=exercise), topic_id=topic.id)
    )
    out = io.BytesIO()
    soundfile.write(out, np.zeros(8000, np.float32), 8000, format="WAV")
    take = services.takes.keep(out.getvalue(), NewTake(step_id=made.id))
    said = Verdict(
        answer=Answer.YES, reason="Clean.", tempo_bpm=90.0, tests=(), notes=(), engine="line-0"
    )
    services.append(ev.TakeJudged(take_id=take.id, verdict=said), at=take.at, day=take.day)
    services.close()
    return take.id


def test_it_says_what_changed_and_does_it_once(tmp_path, capsys):
    take_id = with_old_verdict(tmp_path)
    assert main(["rejudge", "--data", str(tmp_path), "--json"]) == 0
    done = json.loads(capsys.readouterr().out)
    assert done == {"takes": 1, "changed": [take_id], "unheard": []}
    services = open_services(tmp_path)
    assert services.takes.get(take_id).verdict.engine == ENGINE
    services.close()
    assert main(["rejudge", "--data", str(tmp_path)]) == 0
    assert capsys.readouterr().out == "0 takes judged again.\n"
