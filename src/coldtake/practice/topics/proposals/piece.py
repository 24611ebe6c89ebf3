"""A piece from its notation: hard spots, phrases, joins, the whole, from memory, cold."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from coldtake.domain.criterion import ConditionsTest
from coldtake.domain.topic import Exercise, PassageRef
from coldtake.errors import RuleError
from coldtake.music.exercises.grouping import Group, hard_spots, phrases, runs
from coldtake.music.exercises.hardness import BarHardness, hardness
from coldtake.music.passage import Passage
from coldtake.planning.words import counted
from coldtake.practice.topics.proposals.asks import PieceAsk, Proposal
from coldtake.practice.topics.proposals.laying import (
    GUESSED,
    Laying,
    Pace,
    at_tempo,
    click,
    pace,
    shared,
)
from coldtake.practice.topics.proposals.own import OwnNeed

UNTAUGHT = OwnNeed()
UNMARKED_BPM = 72.0  # where neither page nor player gives a goal; a guess
SEVERAL_AT_ONCE = (
    "Several notes sound together. Coldtake can judge one piano or guitar from a recording, and a "
    "keyboard from MIDI. Where it cannot tell, you answer."
)
JOIN_MIN, FROM_MEMORY, COLD = 8, "from memory", "cold, the first try of the day"


@dataclass(frozen=True, slots=True)
class _Piece:
    """What all parts of the map share. passage : the bars asked for; before : bars left out."""

    ask: PieceAsk
    passage: Passage
    before: int
    way: Pace
    rated: tuple[BarHardness, ...]
    laying: Laying
    own: OwnNeed

    def exercise(self, first: int, last: int, mark: float, words: str = "") -> Exercise:
        """Bars as played at a mark; bars count from 1 within what was asked for."""
        ref = PassageRef(
            passage_id=self.ask.passage_id,
            first_bar=first + self.before,
            last_bar=last + self.before,
        )
        return Exercise(
            passage=ref,
            tempo_bpm=mark * self.way.unit,
            words=words,
            click=click(self.passage, self.way.unit),
        )

    def bars(self, group: Group) -> str:
        """Such as "Bars 5 to 8": as on paper, unless a repeat begins again in between."""
        labels = [bar.label for bar in self.passage.bars[group.first - 1 : group.last]]
        first, last = labels[0], labels[-1]
        if len(labels) == 1:
            return f"Bar {first}"
        if _goes_up(labels):
            return f"Bars {first} to {last}"
        return f"Bars {group.first + self.before} to {group.last + self.before} as played"

    def bar(self, number: int) -> str:
        """Return a bar's number on paper; counted from 1 within what was asked for."""
        return self.passage.bars[number - 1].label

    def hardness(self, group: Group) -> float:
        """Mean of the group's bars, 0 to 1."""
        own = self.rated[group.first - 1 : group.last]
        return sum(bar.value for bar in own) / len(own)

    def because(self, group: Group) -> str:
        """What makes it hard, in words."""
        own = self.rated[group.first - 1 : group.last]
        words = dict.fromkeys(word for bar in own for word in bar.because)
        return ", ".join(list(words)[:3])


def propose(topic_id: str, ask: PieceAsk, passage: Passage, own: OwnNeed = UNTAUGHT) -> Proposal:
    """Lay out a piece. Raises RuleError without notes.

    passage : the bars that `ask` names; own : what the log says about the minutes
    """
    if not passage.notes:
        raise RuleError("There are no notes in these bars.", remedy="Choose bars with notes.")
    mark = passage.tempi[0] if passage.tempi else None
    goal = ask.goal_bpm or (mark.bpm if mark else UNMARKED_BPM)
    way = pace(goal, ask.clean_bpm, mark.beat_unit_beats if mark else 1.0)
    piece = _Piece(
        ask,
        passage,
        (ask.first_bar or 1) - 1,
        way,
        hardness(passage, goal),
        Laying(topic_id, ask),
        own,
    )
    ends = _groups(piece)
    last = _whole(piece, ends) if len(ends) > 1 else next(iter(ends.values()))
    _by_heart(piece, last)
    return piece.laying.proposal(*_rests_on(piece, len(ends), mark is not None))


def _goes_up(labels: Sequence[str]) -> bool:
    """Say whether bars follow each other on paper too."""
    numbers = [int(label) for label in labels if label.isdecimal()]
    return len(numbers) < 2 or all(b > a for a, b in pairwise(numbers))


def _groups(piece: _Piece) -> dict[Group, str]:
    """Hard spots, then phrases; the last step of each phrase by its bars."""
    spots = hard_spots(piece.rated, runs(piece.passage))
    groups = phrases(piece.passage)
    whole = {(g.first, g.last) for g in groups}
    done = {
        spot: _rungs(piece, spot, (), f"a hard spot: {piece.because(spot)}".rstrip(": "))
        for spot in spots
        if (spot.first, spot.last) not in whole
    }
    found = {}
    for group in groups:
        inside = tuple(
            i for s, i in done.items() if s.first <= group.last and group.first <= s.last
        )
        found[group] = _rungs(piece, group, inside, piece.because(group))
    return found


def _rungs(piece: _Piece, group: Group, needs: tuple[str, ...], because: str) -> str:
    """A slow step and one at the goal; the id of the last."""
    rungs = piece.way.rungs(2)
    hard = piece.hardness(group)
    last = ""
    whole = piece.own.need(group.bars, hard)
    for mark, minutes in zip(rungs, shared(whole, len(rungs)), strict=True):
        last = piece.laying.step(
            f"{piece.bars(group)} at {piece.way.words(mark)}",
            at_tempo(piece.way, mark),
            piece.exercise(group.first, group.last, mark, piece.way.way_to(mark)),
            minutes,
            (last,) if last else needs,
            because,
        )
    return last


def _whole(piece: _Piece, ends: dict[Group, str]) -> str:
    """Joins between neighbours, then everything slowly and at the goal."""
    before: list[str] = []
    joined = set[str]()
    goal = piece.way.goal
    for one, two in pairwise(ends):
        if one.last + 1 == two.first:
            joined |= {ends[one], ends[two]}
            before.append(
                piece.laying.step(
                    f"Join: bar {piece.bar(one.last)} into {piece.bar(two.first)}",
                    at_tempo(piece.way, goal),
                    piece.exercise(one.last, two.first, goal),
                    JOIN_MIN,
                    (ends[one], ends[two]),
                    "breaks often happen where two parts meet",
                )
            )
    bars = len(piece.passage.bars)
    needs = (*before, *(end for end in ends.values() if end not in joined))
    for mark in _through(piece.way):
        last = piece.laying.step(
            f"Whole passage at {piece.way.words(mark)}",
            at_tempo(piece.way, mark),
            piece.exercise(1, bars, mark),
            piece.own.need(bars, piece.hardness(Group(1, bars)), 0.3),
            needs,
        )
        needs = (last,)
    return needs[0]


def _through(way: Pace) -> tuple[float, ...]:
    """A mark in the middle of the way, and the goal."""
    middle = way.rungs(3)[-2:]
    return middle if len(middle) == 2 else (way.goal,)


def _by_heart(piece: _Piece, last: str) -> None:
    bars, goal = len(piece.passage.bars), piece.way.goal
    heart = ConditionsTest(stated=(FROM_MEMORY,))
    exercise = piece.exercise(1, bars, goal)
    memory = piece.laying.step(
        "From memory",
        at_tempo(piece.way, goal, heart),
        exercise,
        piece.own.need(bars, piece.hardness(Group(1, bars)), 0.5),
        (last,),
    )
    piece.laying.step(
        "Cold and from memory",
        at_tempo(piece.way, goal, ConditionsTest(stated=(FROM_MEMORY, COLD))),
        exercise,
        piece.own.need(bars, 0.0, 0.3),
        (memory,),
        "one try, as on the day",
    )


def _rests_on(piece: _Piece, groups: int, marked: bool) -> tuple[str, ...]:
    page = piece.passage
    left_out = len(page.bars) - sum(run.bars for run in runs(page))
    said = [
        f"{counted(len(page.bars), 'bar')} in {counted(groups, 'group')}.",
        "A cut is where a rest, a long note or a rhythm that begins again suggests a phrase's end.",
    ]
    if left_out:
        said.append(
            f"Repeats, only once: {counted(left_out, 'bar')}. "
            "Bars have the numbers of the notation."
        )
    said.append(piece.way.said(piece.ask.goal_bpm, piece.ask.clean_bpm, marked=marked))
    said += [GUESSED, *piece.own.words()]
    if not page.is_one_line:
        said.append(SEVERAL_AT_ONCE)
    return tuple(said)
