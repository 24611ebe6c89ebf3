"""A tune and its changes: from the melody to choruses without stopping."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from coldtake.domain.criterion import ChangesTest, Criterion
from coldtake.domain.topic import ClickSetting, Exercise, PassageRef
from coldtake.errors import RuleError
from coldtake.music import lines
from coldtake.music.changes import (
    Changes,
    arpeggios,
    changes_abc,
    changes_of,
    guide_tones,
    held,
    roots,
)
from coldtake.music.charts import read_changes
from coldtake.music.chord_scales import scale_choices
from coldtake.music.instruments import Instrument, instrument_named
from coldtake.music.notating import Written
from coldtake.music.passage import Passage
from coldtake.music.tones import Interval, usual_interval
from coldtake.practice.proposals.asks import Proposal, TuneAsk
from coldtake.practice.proposals.laying import GUESSED, Laying, at_tempo, click, pace
from coldtake.practice.proposals.own import OwnNeed

UNTAUGHT = OwnNeed()
UNMARKED_BPM = 100.0  # a guess
_CHORUS_MIN = 30
_IN_SCALE, _ARRIVALS = 75.0, 50.0  # percent that are asked at first; guesses
_FOURTH = Interval(3, 5)
_WORDS_MOST = 500  # of an exercise
Notes = Callable[[Changes], Sequence[Written]]


@dataclass(frozen=True, slots=True)
class _Tune:
    ask: TuneAsk
    melody: Passage | None
    changes: Changes
    instrument: Instrument
    bpm: float
    laying: Laying
    own: OwnNeed

    def written(self, title: str, notes: Notes) -> tuple[PassageRef, Passage]:
        """A line through the changes as a passage of its own."""
        text = changes_abc(self.changes, title, notes, self.instrument, self.bpm)
        return self.laying.passage(title, text)


def propose(
    topic_id: str, ask: TuneAsk, melody: Passage | None, own_need: OwnNeed = UNTAUGHT
) -> Proposal:
    """Lay out a tune. Raises RuleError when there are no changes to be read."""
    instrument = instrument_named(ask.instrument)
    changes, unread = _changes(ask, melody, instrument)
    written = melody.written_bpm if melody else None
    bpm = ask.goal_bpm or written or UNMARKED_BPM
    tune = _Tune(ask, melody, changes, instrument, bpm, Laying(topic_id, ask), own_need)
    heard = _melody(tune)
    own = _lines(tune)
    _other_keys(tune, _choruses(tune, (*heard, *own)))
    return tune.laying.proposal(*_rests_on(tune, unread))


def _changes(
    ask: TuneAsk, melody: Passage | None, instrument: Instrument
) -> tuple[Changes, tuple[str, ...]]:
    """The changes as the instrument reads them, and symbols that could not be read."""
    if ask.changes.strip():
        typed = read_changes(ask.changes, ask.metre)
        return (typed.moved(-instrument.sounds) if ask.concert else typed), ()
    found, unread = changes_of(melody) if melody else (None, ())
    if found is None:
        what = f" Not readable: {', '.join(unread)}." if unread else ""
        raise RuleError(
            f"There are no chord symbols to go by.{what}",
            where="changes",
            remedy="Type them as on a chart, such as Dm7 | G7 | Cmaj7 | %.",
        )
    return _from_page(found, melody.transposition if melody else 0, instrument), unread


def _from_page(changes: Changes, transposition: int, instrument: Instrument) -> Changes:
    """Changes written for the page's instrument, as the chosen one reads them."""
    way = usual_interval(transposition) + -instrument.sounds
    return changes if way.semitones % 12 == 0 else changes.moved(way)


def _melody(tune: _Tune) -> tuple[str, ...]:
    """The melody slowly, then at tempo; nothing when only changes were typed."""
    melody = tune.melody
    if melody is None or not melody.notes:
        return ()
    unit = melody.tempi[0].beat_unit_beats if melody.tempi else 1.0
    way = pace(tune.bpm, tune.ask.clean_bpm, unit)
    last = ""
    for mark in way.rungs(2):
        last = tune.laying.step(
            f"Melody at {way.words(mark)}",
            at_tempo(way, mark),
            Exercise(
                passage=PassageRef(passage_id=tune.ask.passage_id),
                tempo_bpm=mark * unit,
                words=way.way_to(mark),
                click=click(melody, unit),
            ),
            tune.own.need(len(melody.bars), 0.15, 0.5),
            (last,) if last else (),
        )
    return (last,)


def _lines(tune: _Tune) -> tuple[str, ...]:
    """Roots, both guide tone lines, arpeggios, scales, enclosures, a motif."""
    low, high = tune.instrument.low, tune.instrument.high

    def guide(which: int) -> Notes:
        return lambda c: held(c, guide_tones(c, low, high)[which])

    base = _line(tune, "Roots", _roots(tune), 0.05, (), "the floor of the harmony")
    thirds = _line(tune, "Guide tones from the third", guide(0), 0.1, (base,), "by nearest motion")
    seventh = _line(
        tune, "Guide tones from the seventh", guide(1), 0.1, (base,), "by nearest motion"
    )
    broken = _line(
        tune, "Arpeggios", lambda c: arpeggios(c, low, high), 0.25, (base,), "chord tones, in order"
    )
    scales = _line(
        tune,
        "The scale of each chord",
        lambda c: lines.scales(c, low, high),
        0.3,
        (broken,),
        _scales(tune),
    )
    around = _line(
        tune,
        "Thirds, enclosed from above and below",
        lambda c: lines.enclosures(c, low, high),
        0.25,
        (thirds,),
        "each third is aimed at across the bar line",
    )
    cell = _line(
        tune,
        "One motif through the changes: 1, 2, 3, 5",
        lambda c: lines.motif(c, low, high),
        0.25,
        (scales,),
        "one idea, moved with the harmony",
    )
    return seventh, around, cell


def _roots(tune: _Tune) -> Notes:
    return lambda c: held(c, roots(c, tune.instrument.low, tune.instrument.high))


def _line(
    tune: _Tune, name: str, notes: Notes, hard: float, needs: tuple[str, ...], because: str
) -> str:
    ref, passage = tune.written(name, notes)
    way = pace(tune.bpm, tune.ask.clean_bpm)
    return tune.laying.step(
        f"{name} at {way.words(way.goal)}",
        at_tempo(way, way.goal),
        Exercise(
            passage=ref,
            tempo_bpm=way.goal,
            words=way.way_to(way.goal),
            click=click(passage, 1.0),
        ),
        tune.own.need(len(passage.bars), hard, 0.7),
        needs,
        because,
    )


def _scales(tune: _Tune) -> str:
    """The simplest scale over each chord, once each."""
    found = {}
    for span in tune.changes.spans:
        choices = scale_choices(span.chord)
        if choices:
            found[span.chord.symbol] = f"{span.chord.symbol}: {choices[0]}"
    return "; ".join(found.values())


def _choruses(tune: _Tune, needs: tuple[str, ...]) -> str:
    """One chorus, one that meets the changes, two with the click on 2 and 4; the last step's id."""
    chart, _ = tune.written("The changes", _roots(tune))
    backbeat = tune.changes.metre == (4, 4)
    asked = (
        ("One chorus without stopping", ChangesTest(in_scale_percent=None), False),
        (
            "One chorus, each change met by its third or seventh",
            ChangesTest(in_scale_percent=_IN_SCALE, arrivals_percent=_ARRIVALS),
            False,
        ),
        (
            f"Two choruses without stopping{', click on 2 and 4' if backbeat else ''}",
            ChangesTest(choruses=2, in_scale_percent=_IN_SCALE),
            backbeat,
        ),
    )
    for title, test, on_two_and_four in asked:
        words = "The click is on beats 2 and 4. " if on_two_and_four else ""
        step = tune.laying.step(
            title,
            Criterion(tests=(test,)),
            Exercise(
                passage=chart,
                tempo_bpm=tune.bpm,
                words=(f"{words}Scales: {_scales(tune)}")[:_WORDS_MOST],
                click=_click(tune, on_two_and_four),
            ),
            _CHORUS_MIN,
            needs,
        )
        needs = (step,)
    return needs[0]


def _other_keys(tune: _Tune, last: str) -> None:
    """The same changes a fourth higher each time, as the instrument reads them."""
    changes = tune.changes
    for _ in range(tune.ask.other_keys):
        changes = changes.moved(_FOURTH)
        title = f"The changes in {changes.key.tonic}"
        text = changes_abc(changes, title, _roots(tune), tune.instrument, tune.bpm)
        ref, _ = tune.laying.passage(title, text)
        last = tune.laying.step(
            f"One chorus in {changes.key}",
            Criterion(tests=(ChangesTest(in_scale_percent=_IN_SCALE),)),
            Exercise(
                passage=ref,
                tempo_bpm=tune.bpm,
                key=str(changes.key),
                click=_click(tune, backbeat=False),
            ),
            _CHORUS_MIN,
            (last,),
            "round the circle of fourths",
        )


def _click(tune: _Tune, backbeat: bool) -> ClickSetting:
    beats, unit = tune.changes.metre
    on = (2, 4) if backbeat else ()
    return ClickSetting(beat_unit_beats=4 / unit, beats_per_bar=beats, on_beats=on)


def _rests_on(tune: _Tune, unread: tuple[str, ...]) -> tuple[str, ...]:
    origin = "the changes you typed" if tune.ask.changes.strip() else "the page's chord symbols"
    said = [
        f"From {origin}: {tune.changes.bars} bars.",
        "Guide tones move to the nearest third or seventh; a scale holds every tone of its chord.",
        "The order of steps is common practice, no source.",
        GUESSED,
        *tune.own.words(),
    ]
    if tune.instrument.sounds.semitones:
        said.append(f"The lines are written for the {tune.instrument.name}.")
    if unread:
        said.append(f"Not readable, and passed over: {', '.join(unread)}.")
    return tuple(said)
