"""SIGKILL at 200 random points of a scripted session: nothing acknowledged is missing, nothing
doubled, every start afterwards goes on.
"""

import hashlib
import io
import random
import sys
from collections import Counter
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile
from killing import Say, killed, quick_folder

from coldtake.bootstrap import SystemClock, open_services
from coldtake.domain import events as ev
from coldtake.domain.take import Answer, Judge, NewTake
from coldtake.listening import worker_client
from coldtake.practice.services import House
from making import step

pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL and fork are Unix things"),
]
SEED, KILLS, A_FOLDER = 20270115, 200, 20
SOUND = np.random.default_rng(SEED).standard_normal(3000).astype("float32") / 8


class _Kept:
    """As `listening.worker_client.to_flac` answers, without the worker process."""

    duration_s, rate = 3000 / 8000, 8000

    def __init__(self, sound: bytes, _filename: str = "") -> None:
        samples, rate = soundfile.read(io.BytesIO(sound), dtype="float32")
        flac = io.BytesIO()
        soundfile.write(flac, samples, rate, format="FLAC")
        self.flac = flac.getvalue()


def session(folder: Path, chance: random.Random, say: Say) -> None:
    """Practise until the end comes: events of the page, takes, pasted topics, a copy."""
    worker_client.to_flac = _Kept  # type: ignore[assignment]
    services, clock = open_services(folder), SystemClock()
    say("begun")
    while True:
        act = chance.random()
        if act < 0.55:
            delivered = [_answer(clock, chance) for _ in range(chance.randint(1, 4))]
            delivered.append(delivered[0])  # sent twice in one go
            receipt = services.sessions.record([ev.to_json(one) for one in delivered])
            for one in receipt.kept:
                say(f"event {one}")
        elif act < 0.85:
            wav = io.BytesIO()
            soundfile.write(wav, SOUND * chance.random(), 8000, format="WAV")
            take = services.takes.keep(wav.getvalue(), NewTake(step_id=step().id))
            say(f"take {take.id} {take.sha256}")
        elif act < 0.97:
            pasted = "\n".join(f"topic {chance.random()}" for _ in range(chance.randint(1, 12)))
            for topic in services.pile.add_many(pasted):
                say(f"topic {topic.id}")
        else:
            services.care.copy()


def _answer(clock: SystemClock, chance: random.Random) -> ev.Event:
    answer = ev.TryAnswered(
        try_id=clock.new_id(), step_id=step().id, answer=Answer.YES, judge=Judge.PLAYER
    )
    at = clock.now() - timedelta(seconds=chance.randrange(100_000))
    return ev.Event(id=clock.new_id(), at=at, day=at.date(), data=answer)


def check(services: House, said: list[str]) -> None:
    events = [event for _, event in services.store.events()]
    ids = Counter(event.id for event in events)
    assert not [one for one, times in ids.items() if times > 1]
    told = [line.split() for line in said]
    assert not [words for words in told if words[0] == "event" and words[1] not in ids]
    state = services.state()
    assert not [words for words in told if words[0] == "topic" and words[1] not in state.topics]
    sums = {take.id: take.sha256 for take in state.takes.values()}
    assert not [words for words in told if words[0] == "take" and sums.get(words[1]) != words[2]]
    for take_id, sha256 in sums.items():  # the log never speaks of a sound that is not there
        sound = services.takes.sound(take_id).read_bytes()
        assert hashlib.sha256(sound).hexdigest() == sha256
    assert services.care.repairs() == ()  # a kill is no damage


def test_nothing_acknowledged_is_lost_in_a_session():
    chance, acknowledged, survived = random.Random(SEED), 0, 0
    while survived < KILLS:
        with quick_folder() as folder:
            said: list[str] = []
            for _ in range(A_FOLDER):
                now, ended = killed(session, folder, chance, within_s=0.012, lines=16)
                assert not ended
                said += now
                services = open_services(folder)
                check(services, said)
                services.close()
                survived += 1
            acknowledged += len(said)
            assert not list(folder.glob("takes/*.part"))  # half written ones are tidied away
    assert survived == KILLS
    assert acknowledged > 6 * KILLS
