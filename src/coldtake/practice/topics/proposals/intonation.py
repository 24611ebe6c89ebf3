"""Intonation: long tones, and each interval against a drone, in equal or just tuning."""

from fractions import Fraction

from coldtake.domain.criterion import Criterion, NoStopsTest, NotesTest, OwnQuestionTest, TuneTest
from coldtake.domain.topic import ClickSetting, Exercise
from coldtake.errors import RuleError
from coldtake.music.abc.notating import Page, Written, abc_text
from coldtake.music.exercises.patterns import Pattern, pattern_abc
from coldtake.music.theory.instruments import Instrument, instrument_named
from coldtake.music.theory.keys import Key, read_key, usual
from coldtake.music.theory.tones import Pitch, ToneInterval, degree, pitches_of
from coldtake.music.theory.tuning import cents_above
from coldtake.practice.topics.proposals.asks import IntonationAsk, Proposal
from coldtake.practice.topics.proposals.laying import Laying

_SLOW_BPM = 52.0
_LONG_MIN, _INTERVAL_MIN = 20, 12  # guesses
# From the interval that beats most clearly to the one that is hardest to place (common practice).
INTERVALS = (
    ("octave", "8"),
    ("fifth", "5"),
    ("fourth", "4"),
    ("major third", "3"),
    ("major sixth", "6"),
    ("minor third", "b3"),
    ("minor sixth", "b6"),
    ("major second", "2"),
    ("minor seventh", "b7"),
    ("major seventh", "7"),
    ("minor second", "b2"),
)


def propose(topic_id: str, ask: IntonationAsk) -> Proposal:
    """Lay out intonation work. Raises InputError for an unknown tonic or instrument."""
    instrument = instrument_named(ask.instrument)
    key = usual(read_key(ask.tonic).tonic, "major")
    tonic = _tonic(key, instrument)
    laying = Laying(topic_id, ask)
    last = _long_tones(laying, ask, key)
    for name, number in INTERVALS:
        last = _interval(laying, ask, instrument, (key, tonic), (name, degree(number)), last)
    return laying.proposal(*_rests_on(ask, key, instrument))


def _tonic(key: Key, instrument: Instrument) -> Pitch:
    """The lowest tonic with an octave above it."""
    usual = instrument.low, instrument.high
    ranges = (usual, instrument.widest or usual)
    found = (pitches_of(key.tonic, low, high - 12) for low, high in ranges)
    own = next((pitches for pitches in found if pitches), None)
    if not own:
        raise RuleError(
            f"There is no {key.tonic} with its octave in this range.", remedy="Choose another one."
        )
    return own[0]


def _long_tones(laying: Laying, ask: IntonationAsk, key: Key) -> str:
    pattern = Pattern("long tones", key.tonic, instrument=ask.instrument, octaves=1)
    ref, _ = laying.passage(f"{key.tonic} major, long tones", pattern_abc(pattern))
    return laying.step(
        f"Long tones on {key.tonic} major",
        Criterion(tests=(NotesTest(), NoStopsTest(), _tune(ask))),
        Exercise(
            passage=ref,
            tempo_bpm=_SLOW_BPM,
            key=str(key),
            words="One breath or bow for each. Listen before you correct.",
            click=ClickSetting(on=False),
        ),
        _LONG_MIN,
        because="measured against equal temperament",
    )


def _tune(ask: IntonationAsk) -> TuneTest:
    return TuneTest(tolerance_cents=ask.cents)


def _interval(
    laying: Laying,
    ask: IntonationAsk,
    instrument: Instrument,
    home: tuple[Key, Pitch],
    step: tuple[str, ToneInterval],
    last: str,
) -> str:
    (key, tonic), (name, way) = home, step
    line = [tonic, tonic.above(way), tonic, tonic.above(way)]
    page = Page(
        f"{key.tonic} and its {name}", key, clefs=instrument.clefs, sounds=instrument.sounds
    )
    abc = abc_text(page, [Written(pitch, Fraction(4)) for pitch in line])
    ref, _ = laying.passage(page.title, abc)
    return laying.step(
        f"{name.capitalize()} against a drone on {key.tonic}, {ask.tuning} tuning",
        _criterion(ask, name),
        Exercise(
            passage=ref,
            tempo_bpm=_SLOW_BPM,
            key=str(key),
            words=f"Drone on {tonic} (written), {ask.tuning} tuning.",
            click=ClickSetting(on=False),
        ),
        _INTERVAL_MIN,
        (last,),
        _where(ask, name, way),
    )


def _criterion(ask: IntonationAsk, name: str) -> Criterion:
    """Equal temperament is measured; whether a just interval lies still, the player hears."""
    if ask.tuning == "equal":
        return Criterion(tests=(NotesTest(), _tune(ask)))
    question = f"Was every {name} free of beats against the drone"
    return Criterion(tests=(NotesTest(), OwnQuestionTest(question=question)))


def _where(ask: IntonationAsk, name: str, way: ToneInterval) -> str:
    """How far a just interval lies from the equal one."""
    away = cents_above(way.semitones, "just") - cents_above(way.semitones)
    if ask.tuning == "equal":
        return f"An equal {name} is {cents_above(way.semitones):g} cents wide."
    if abs(away) < 0.5:
        return f"A just {name} is as wide as the equal one."
    side = "wider" if away > 0 else "narrower"
    return f"A just {name} is {abs(away):.0f} cents {side} than the equal one."


def _rests_on(ask: IntonationAsk, key: Key, instrument: Instrument) -> tuple[str, ...]:
    said = [
        "Intervals in the order in which beats are heard most clearly; common practice, no source.",
        "Widths of just intervals are those of small whole-number ratios (5-limit).",
    ]
    if ask.tuning == "just":
        said.append(
            "In just tuning you answer yourself. The long tones are measured in equal temperament."
        )
    if instrument.sounds.semitones:
        sounding = instrument.concert_key(key).tonic
        said.append(
            f"Written for the {instrument.name}: set the drone to {sounding}, which is your "
            f"{key.tonic}."
        )
    said.append("The time of each step is an estimate.")
    return tuple(said)
