"""Improvising: it is there from the first day, at the clean tempo, in the tune's own key.

The first chorus needs nothing else. Meeting each change needs the guide tones; other keys follow
in the circle of fourths from the tune's own, each after the one before. What is played over is
shown as a chart; the roots in the stored passage only carry its chord symbols.
"""

from coldtake.domain.criterion import USUAL_TEMPO_ROOM, ChangesTest, Criterion, TempoTest
from coldtake.domain.topic import ClickSetting, Exercise
from coldtake.music.notation.changes import Changes
from coldtake.music.theory.tones import ToneInterval
from coldtake.practice.topics.proposals.lines import bass
from coldtake.practice.topics.proposals.over_changes import OverChanges

_CHORUS_MIN = 30  # a guess
_IN_SCALE, _ARRIVALS = 75.0, 50.0  # percent that are asked at first; guesses
_FOURTH = ToneInterval(3, 5)
_FEW_KEYS = 4  # up to which each further key has a slow step of its own
ORDER = "in the circle of fourths"


def first_choruses(tune: OverChanges) -> tuple[str, str]:
    """A chorus at the clean tempo and one at the goal; their ids, the same where there is one."""
    found: list[str] = []
    for mark in tune.way.rungs(2):
        found.append(
            _chorus(
                tune,
                "One chorus without stopping",
                ChangesTest(in_scale_percent=None),
                mark,
                tuple(found),
                "any notes: only the form counts",
            )
        )
    return found[0], found[-1]


def further_choruses(
    tune: OverChanges, choruses: tuple[str, str], guide_tones: tuple[str, ...]
) -> str:
    """Each change met, then two choruses at the goal; the id of the last."""
    slow, goal = choruses
    test = ChangesTest(in_scale_percent=_IN_SCALE, arrivals_percent=_ARRIVALS)
    mark = tune.way.rungs(2)[0]
    title = "One chorus, each change met by its third or seventh"
    met = _chorus(tune, title, test, mark, (slow, *guide_tones))
    backbeat = tune.changes.metre == (4, 4)
    return _chorus(
        tune,
        f"Two choruses without stopping{', click on 2 and 4' if backbeat else ''}",
        ChangesTest(choruses=2, in_scale_percent=_IN_SCALE),
        tune.way.goal,
        (goal, met),
        backbeat=backbeat,
    )


def other_keys(tune: OverChanges) -> tuple[Changes, ...]:
    """The changes in each further key, a fourth higher each time, as the instrument reads them."""
    found = [tune.changes]
    for _ in range(tune.ask.other_keys):
        found.append(found[-1].moved(_FOURTH))
    return tuple(found[1:])


def lay_other_keys(tune: OverChanges, last: str) -> None:
    """One chorus in each further key, each after the one before."""
    keys = other_keys(tune)
    marks = tune.way.rungs(2 if len(keys) <= _FEW_KEYS else 1)
    for changes in keys:
        for mark in marks:
            last = _chorus(
                tune,
                f"One chorus in {changes.key}",
                ChangesTest(in_scale_percent=_IN_SCALE),
                mark,
                (last,),
                f"{ORDER} from {tune.changes.key.tonic}",
                changes=changes,
            )


def _chorus(
    tune: OverChanges,
    title: str,
    test: ChangesTest,
    mark: float,
    needs: tuple[str, ...],
    because: str = "",
    *,
    changes: Changes | None = None,
    backbeat: bool = False,
) -> str:
    name = "The changes" if changes is None else f"The changes in {changes.key}"
    changes = changes or tune.changes
    way = tune.way
    ref, _ = tune.written(changes, name, bass(tune))
    tempo = TempoTest(mark=mark, beat_unit_beats=way.unit, within_percent=USUAL_TEMPO_ROOM)
    beats, unit = changes.metre
    return tune.laying.step(
        f"{title} at {way.words(mark)}",
        Criterion(tests=(test, tempo)),
        Exercise(
            passage=ref,
            tempo_bpm=mark * way.unit,
            key=str(changes.key),
            words="The click is on beats 2 and 4." if backbeat else "",
            click=ClickSetting(
                beat_unit_beats=way.unit,
                beats_per_bar=round(4 * beats / unit / way.unit),
                on_beats=(2, 4) if backbeat else (),
            ),
        ),
        _CHORUS_MIN,
        needs,
        because,
    )
