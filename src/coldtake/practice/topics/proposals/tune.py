"""A tune and its changes: the melody, choruses from the first day, written lines beside them."""

from coldtake.domain.topic import Exercise, PassageRef
from coldtake.errors import RuleError
from coldtake.music.abc.notating import beat_of
from coldtake.music.notation.changes import Changes, changes_of
from coldtake.music.notation.reading.charts import read_changes
from coldtake.music.passage import Passage
from coldtake.music.theory.instruments import Instrument, instrument_named
from coldtake.music.theory.keys import read_key
from coldtake.music.theory.tones import usual_interval
from coldtake.practice.topics.proposals.asks import Proposal, TuneAsk
from coldtake.practice.topics.proposals.choruses import (
    ORDER,
    first_choruses,
    further_choruses,
    lay_other_keys,
    other_keys,
)
from coldtake.practice.topics.proposals.laying import GUESSED, Laying, at_tempo, click, pace, shared
from coldtake.practice.topics.proposals.lines import lay_lines
from coldtake.practice.topics.proposals.over_changes import OverChanges
from coldtake.practice.topics.proposals.own import OwnNeed

UNTAUGHT = OwnNeed()
UNMARKED_BPM = 100.0  # a guess
LONG_AND_QUICK = (
    "Roots and guide tones are long notes, so they start at the target tempo. Fast lines start "
    "at the clean tempo."
)


def propose(
    topic_id: str, ask: TuneAsk, melody: Passage | None, own_need: OwnNeed = UNTAUGHT
) -> Proposal:
    """Lay out a tune. Raises RuleError when there are no changes to be read."""
    instrument = instrument_named(ask.instrument)
    changes, unread = _changes(ask, melody, instrument)
    written = melody.written_bpm if melody else None
    bpm = ask.goal_bpm or written or UNMARKED_BPM
    marked = melody.tempi[0].beat_unit_beats if melody and melody.tempi else None
    way = pace(bpm, ask.clean_bpm, marked or float(beat_of(changes.metre)))
    tune = OverChanges(ask, melody, changes, instrument, way, Laying(topic_id, ask), own_need)
    _melody(tune)
    choruses = first_choruses(tune)
    guide_tones = lay_lines(tune)
    lay_other_keys(tune, further_choruses(tune, choruses, guide_tones))
    return tune.laying.proposal(*_rests_on(tune, unread))


def _changes(
    ask: TuneAsk, melody: Passage | None, instrument: Instrument
) -> tuple[Changes, tuple[str, ...]]:
    """The changes as the instrument reads them, and symbols that could not be read."""
    key = read_key(ask.key) if ask.key.strip() else None
    if ask.changes.strip():
        typed = read_changes(ask.changes, ask.metre, key)
        return (typed.moved(-instrument.sounds) if ask.concert else typed), ()
    found, unread = changes_of(melody, key) if melody else (None, ())
    if found is None:
        what = f" Not readable: {', '.join(unread)}." if unread else ""
        raise RuleError(
            f"There are no chord symbols to start from.{what}",
            where="changes",
            remedy="Type them as on a chart, such as Dm7 | G7 | Cmaj7 | %.",
        )
    return _from_page(found, melody.transposition if melody else 0, instrument), unread


def _from_page(changes: Changes, transposition: int, instrument: Instrument) -> Changes:
    """Changes written for the page's instrument, as the chosen one reads them."""
    way = usual_interval(transposition) + -instrument.sounds
    return changes if way.semitones % 12 == 0 else changes.moved(way)


def _melody(tune: OverChanges) -> None:
    """The melody slowly, then at tempo; nothing when only changes were typed."""
    melody, way = tune.melody, tune.way
    if melody is None or not melody.notes:
        return
    rungs = way.rungs(2)
    whole = tune.own.need(len(melody.bars), 0.15)
    needs: tuple[str, ...] = ()
    for mark, minutes in zip(rungs, shared(whole, len(rungs)), strict=True):
        step = tune.laying.step(
            f"Melody at {way.words(mark)}",
            at_tempo(way, mark),
            Exercise(
                passage=PassageRef(passage_id=tune.ask.passage_id),
                tempo_bpm=mark * way.unit,
                words=way.way_to(mark),
                click=click(melody, way.unit),
            ),
            minutes,
            needs,
        )
        needs = (step,)


def _rests_on(tune: OverChanges, unread: tuple[str, ...]) -> tuple[str, ...]:
    origin = "the changes you typed" if tune.ask.changes.strip() else "the page's chord symbols"
    said = [
        f"From {origin}: {tune.changes.bars} bars.",
        *_key_words(tune),
        tune.way.said(
            tune.ask.goal_bpm,
            tune.ask.clean_bpm,
            marked=tune.melody is not None and bool(tune.melody.tempi),
        ),
        "The first chorus needs no other step. Practise the written lines at the same time.",
        LONG_AND_QUICK,
        "The order of steps is common practice, no source.",
        GUESSED,
        *tune.own.words(),
    ]
    if tune.instrument.sounds.semitones:
        sounds = tune.instrument.sounds_as(tune.changes.key)
        said.append(f"Chart and lines are written for the {tune.instrument.name}: {sounds}.")
    if unread:
        said.append(f"Not readable, left out: {', '.join(unread)}.")
    return tuple(said)


def _key_words(tune: OverChanges) -> list[str]:
    """The key, where it comes from, and the order of the keys."""
    own = tune.changes.key
    origin = "you gave" if tune.ask.key.strip() else "follows from the chords; you can give another"
    keys = ", ".join(str(changes.key.tonic) for changes in other_keys(tune))
    order = [f"Keys in order: {own.tonic}, then {keys} ({ORDER})."] if keys else []
    return [f"The key {own} {origin}.", *order]
