"""Sight reading: fresh passages at a stated hardness; each is read at sight only once."""

from coldtake.domain.criterion import ConditionsTest
from coldtake.domain.topic import Exercise
from coldtake.music.exercises.sight_reading import BAND, LEVELS, Demand, fresh
from coldtake.music.theory.keys import read_key
from coldtake.practice.topics.proposals.asks import Proposal, ReadingAsk
from coldtake.practice.topics.proposals.laying import LEAST_MIN, Laying, at_tempo, click, pace

AT_SIGHT = "at sight, never seen before"
_APART = 1_000  # seeds of one proposal lie together, those of the next elsewhere


def propose(topic_id: str, ask: ReadingAsk) -> Proposal:
    """Lay out passages to read. Raises InputError for a key or tempo that cannot be written."""
    asked = LEVELS[ask.level - 1]
    laying = Laying(topic_id, ask)
    found = []
    for number in range(ask.count):
        key = read_key(ask.keys[number % len(ask.keys)] if ask.keys else "C")
        made = fresh(
            Demand(
                asked,
                ask.seed * _APART + number,
                ask.goal_bpm,
                key,
                ask.metre,
                ask.bars,
                ask.instrument,
            )
        )
        found.append(made.hardness)
        title = f"Reading {ask.seed}.{number + 1}, level {ask.level}, {key}"
        ref, passage = laying.passage(title, made.abc)
        way = pace(ask.goal_bpm, ask.goal_bpm, 1.5 if ask.metre[1] == 8 else 1.0)
        laying.step(
            title,
            at_tempo(way, way.goal, ConditionsTest(stated=(AT_SIGHT,))),
            Exercise(
                passage=ref,
                tempo_bpm=ask.goal_bpm,
                key=str(key),
                words="Look at it for half a minute. Then play once, without stopping.",
                click=click(passage, way.unit),
            ),
            LEAST_MIN,
            because=f"difficulty {made.hardness:.2f} of 1, an estimate from the page",
        )
    return laying.proposal(
        f"Made from the set number {ask.seed}. The same number gives the same passages.",
        f"Level {ask.level} means a difficulty of {asked:.2f} of 1 at this tempo; these measure "
        f"{min(found):.2f} to {max(found):.2f} (within {BAND:g}). It is an estimate: speed, leaps, "
        "accidentals, range and rhythm, counted and weighed.",
        "You can sight-read a passage only once. After that it is a normal step.",
    )
