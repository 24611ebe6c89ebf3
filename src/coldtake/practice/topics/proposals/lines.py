"""Written lines through a tune's changes. They run beside improvising, which waits for few of them.

Roots and guide tones are held as long as their chord, so they are asked for at the goal at once;
quick lines begin at the clean tempo.
"""

from dataclasses import dataclass

from coldtake.domain.topic import Exercise
from coldtake.music.exercises import lines
from coldtake.music.notation.changes import arpeggios, guide_tones, held, roots
from coldtake.practice.topics.proposals.laying import at_tempo, click, shared
from coldtake.practice.topics.proposals.over_changes import Notes, OverChanges

_QUICK, _HELD = (
    0.7,
    0.3,
)  # of what bars of that hardness need: a figure that comes again, long notes
_WORDS_MOST = 500  # of an exercise
_THIRDS, _SEVENTHS = "Guide tones from the third", "Guide tones from the seventh"


@dataclass(frozen=True, slots=True)
class _Line:
    """hard : 0 to 1; after : lines that are needed first; quick : begins at the clean tempo.

    words : of the exercise, instead of the metronome marks of its way
    """

    name: str
    notes: Notes
    hard: float
    after: tuple[str, ...] = ()
    because: str = ""
    words: str = ""
    quick: bool = True


def bass(tune: OverChanges) -> Notes:
    """The root or slash bass of each chord, held."""
    return lambda c: held(c, roots(c, tune.instrument.low, tune.instrument.high))


def _guide(tune: OverChanges, which: int) -> Notes:
    low, high = tune.instrument.low, tune.instrument.high
    return lambda c: held(c, guide_tones(c, low, high)[which])


def _lines(tune: OverChanges) -> tuple[_Line, ...]:
    low, high = tune.instrument.low, tune.instrument.high
    near = "each moves to the nearest third or seventh"
    return (
        _Line("Roots", bass(tune), 0.05, (), "the lowest notes of the harmony", quick=False),
        _Line(_THIRDS, _guide(tune, 0), 0.1, ("Roots",), near, quick=False),
        _Line(_SEVENTHS, _guide(tune, 1), 0.1, ("Roots",), near, quick=False),
        _Line("Arpeggios", lambda c: arpeggios(c, low, high), 0.25, ("Roots",), "chord by chord"),
        _Line(
            "The scale of each chord",
            lambda c: lines.scales(c, low, high),
            0.3,
            ("Arpeggios",),
            "the simplest scale that holds every tone of the chord",
            words=tune.scales[:_WORDS_MOST],
        ),
        _Line(
            "Thirds, enclosed from above and below",
            lambda c: lines.enclosures(c, low, high),
            0.25,
            (_THIRDS,),
            "each third comes on the first beat",
        ),
        _Line(
            "One motif through the changes: 1, 2, 3, 5",
            lambda c: lines.motif(c, low, high),
            0.25,
            ("The scale of each chord",),
            "one idea, moved with the harmony",
        ),
    )


def lay_lines(tune: OverChanges) -> tuple[str, ...]:
    """Lay out every line; the ids of the two lines of guide tones."""
    first: dict[str, str] = {}
    for line in _lines(tune):
        first[line.name] = _line(tune, line, tuple(first[name] for name in line.after))
    return first[_THIRDS], first[_SEVENTHS]


def _line(tune: OverChanges, line: _Line, needs: tuple[str, ...]) -> str:
    """One line, slowly and at the goal where it is quick; the id of its first step."""
    ref, passage = tune.written(tune.changes, line.name, line.notes)
    way = tune.way
    rungs = way.rungs(2) if line.quick else (way.goal,)
    whole = tune.own.need(len(passage.bars), line.hard, _QUICK if line.quick else _HELD)
    found: list[str] = []
    for mark, minutes in zip(rungs, shared(whole, len(rungs)), strict=True):
        step = tune.laying.step(
            f"{line.name} at {way.words(mark)}",
            at_tempo(way, mark),
            Exercise(
                passage=ref,
                tempo_bpm=mark * way.unit,
                key=str(tune.changes.key),
                words=line.words or way.way_to(mark),
                click=click(passage, way.unit),
            ),
            minutes,
            (found[-1],) if found else needs,
            line.because,
        )
        found.append(step)
    return found[0]
