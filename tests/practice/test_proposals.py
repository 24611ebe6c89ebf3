"""Proposals: every step keeps the rules of the map, every passage can be read and played."""

import math
from itertools import pairwise
from pathlib import Path

import msgspec
import numpy as np
import pytest

from coldtake.domain import events as ev
from coldtake.domain.criterion import ConditionsTest, OwnQuestionTest, TempoTest, TuneTest
from coldtake.domain.criterion_words import question
from coldtake.domain.events import PassageKept, StepKept
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import PassageRef
from coldtake.errors import InputError, NotFoundError, RuleError
from coldtake.music.playback.sounding import schedule
from coldtake.music.theory.instruments import INSTRUMENTS
from coldtake.music.theory.keys import KeyOrder
from coldtake.practice.topics.proposals import own
from coldtake.practice.topics.proposals import piece as piece_words
from coldtake.practice.topics.proposals.asks import (
    STEPS_MOST,
    IntonationAsk,
    PieceAsk,
    PlainAsk,
    Proposal,
    ReadingAsk,
    RhythmAsk,
    TechniqueAsk,
    TuneAsk,
)
from coldtake.practice.topics.proposals.door import without
from coldtake.practice.topics.proposals.laying import is_way
from coldtake.units import METRONOME_MARKS

RUN = "C/D/E/F/G/A/B/c/ C/D/E/F/G/A/B/c/ | "
PIECE = (
    "X:1\nT:Piece\nM:4/4\nL:1/8\nQ:1/4=92\nK:C\n"
    + "CDEF GFED | EFGA BAGF | C4 z4 | " * 2
    + RUN
    + "CDEF GFED | EFGA BAGF | C4 z4 |]\n"
)
JIG = "X:1\nT:Jig\nM:6/8\nL:1/8\nQ:3/8=96\nK:D\n" + "DFA dAF | GBd gdB | " * 8 + "D6 |]\n"
TUNE = (
    "X:1\nT:Tune\nM:4/4\nL:1/4\nQ:1/4=132\nK:C\n"
    '"Dm7"D E F A | "G7"G F E D | "Cmaj7"C E G c | "A7b9"A G F E | "oops"D4 |]\n'
)
DEMO = Path(__file__).parents[2] / "src" / "coldtake" / "demo" / "material"


@pytest.fixture
def topic(services):
    return services.pile.add("Topic")


def kept(services, abc, name="a.abc"):
    return services.pile.keep_passage(abc.encode(), name).id


def checked(services, topic, ask):
    """A proposal that has passed everything that any proposal must."""
    proposal = services.pile.propose_steps(topic.id, ask)
    assert services.state().topic_steps(topic.id) == ()
    ids = [step.id for step in proposal.steps]
    assert len(set(ids)) == len(ids)
    for place, step in enumerate(proposal.steps):
        assert set(step.needs) <= set(ids[:place])  # acyclic: needs stand before
        assert question(step.criterion).endswith("?")
        assert 1 <= step.need_min <= 300
    assert all(sentence.endswith(".") for sentence in proposal.rests_on)
    assert proposal.rests_on
    services.pile.keep_proposal(proposal)
    kept_steps = services.state().topic_steps(topic.id)
    assert kept_steps == proposal.steps
    for step in kept_steps:
        services.pile.keep_step(step)  # passes the pile's own rules unchanged
        passage = services.pile.exercise_passage(step)
        if passage is not None:
            assert passage.notes
            sounded = schedule(passage, step.exercise.tempo_bpm)
            assert all(note.duration_s > 0 for note in sounded)
    return proposal


ASKS = {
    "scales in twelve keys": TechniqueAsk(),
    "shuffled": TechniqueAsk(order=KeyOrder.SHUFFLED, seed=5, scale="blues", instrument="guitar"),
    "few keys": TechniqueAsk(
        rules=("thirds", "seventh chord"), keys=("Bb", "E"), scale="harmonic minor", clean_bpm=60
    ),
    "long tones": TechniqueAsk(rules=("long tones",), keys=("C",), instrument="viola"),
    "rhythm": TechniqueAsk(rules=("one note",), rhythms=("triplets", "dotted"), keys=("C",)),
    "compound": TechniqueAsk(metre=(6, 8), rhythms=("eighths in threes",), keys=("D",)),
    "articulations": TechniqueAsk(keys=("G",), articulations=("staccato", "slurred in twos")),
    "rhythm work": RhythmAsk(),
    "rhythm in three": RhythmAsk(compound=True, instrument="trumpet in B♭", clean_bpm=50),
    "intonation": IntonationAsk(tonic="Bb", instrument="clarinet in B♭"),
    "just intonation": IntonationAsk(tuning="just", instrument="cello"),
    "reading": ReadingAsk(keys=("C", "Eb"), count=3, bars=4),
    "reading in three": ReadingAsk(level=5, metre=(6, 8), count=1, instrument="bassoon"),
    "own lines": PlainAsk(lines="first\n\n second \nthird", in_order=True),
    "changes": TuneAsk(changes="|: Cm7 F7 | Bbmaj7 :| N.C. | Aø D7b9"),
    "concert changes": TuneAsk(changes="C | F | G7", concert=True, instrument="horn in F"),
}


@pytest.mark.parametrize("name", ASKS)
def test_any_proposal_keeps_the_rules(services, topic, name):
    checked(services, topic, ASKS[name])


@pytest.mark.parametrize("abc", [PIECE, JIG, TUNE], ids=["piece", "jig", "tune"])
def test_any_piece_keeps_the_rules(services, topic, abc):
    checked(services, topic, PieceAsk(passage_id=kept(services, abc)))


@pytest.mark.parametrize("file", sorted(p.name for p in DEMO.iterdir() if p.suffix != ".py"))
def test_the_example_material_can_be_broken_down(services, topic, file):
    stored = services.pile.keep_passage((DEMO / file).read_bytes(), file)
    checked(services, topic, PieceAsk(passage_id=stored.id))


# A piece


def piece(services, topic, **fields):
    return checked(services, topic, PieceAsk(passage_id=kept(services, PIECE), **fields))


def titles(proposal):
    return [step.title for step in proposal.steps]


def test_a_piece_begins_with_its_hard_spots_and_ends_cold(services, topic):
    proposal = piece(services, topic)
    assert titles(proposal)[0].startswith("Bar 7 at ♩ = ")
    assert proposal.because[proposal.steps[0].id].startswith("a hard spot: fast notes")
    assert titles(proposal)[-2:] == ["From memory", "Cold and from memory"]
    memory, cold = proposal.steps[-2:]
    assert cold.needs == (memory.id,)
    stated = [t.stated for t in cold.criterion.tests if isinstance(t, ConditionsTest)]
    assert stated == [("from memory", "cold, the first try of the day")]


def test_every_bar_is_worked_on_and_neighbours_are_joined(services, topic):
    proposal = piece(services, topic)
    groups = {
        (s.exercise.passage.first_bar, s.exercise.passage.last_bar)
        for s in proposal.steps
        if s.title.startswith("Bar")
    }
    bars = {bar for first, last in groups for bar in range(first, last + 1)}
    assert bars == set(range(1, 11))
    joins = [s for s in proposal.steps if s.title.startswith("Join")]
    assert all(s.exercise.passage.last_bar == s.exercise.passage.first_bar + 1 for s in joins)
    assert all(len(s.needs) == 2 for s in joins)
    phrases = sorted(g for g in groups if g[1] - g[0] >= 2)
    edges = [(a[1], b[0]) for a, b in pairwise(phrases) if a[1] + 1 == b[0]]
    assert {(s.exercise.passage.first_bar, s.exercise.passage.last_bar) for s in joins} >= set(
        edges
    )


def test_tempi_go_along_the_metronome_marks_to_the_goal(services, topic):
    proposal = piece(services, topic, goal_bpm=92, clean_bpm=63)
    tempi = [t.mark for s in proposal.steps for t in s.criterion.tests if isinstance(t, TempoTest)]
    assert set(tempi) <= set(METRONOME_MARKS)
    assert (min(tempi), max(tempi)) == (63, 92)
    played = next(s.exercise for s in proposal.steps if s.exercise.words)
    assert played.words == "Metronome marks: 63, 66, 69, 72, 76, 80, 84, 88, 92"
    assert is_way(played)
    old = played.words.replace("Metronome marks", "By the marks")
    assert is_way(msgspec.structs.replace(played, words=old))  # as in old logs
    assert not is_way(msgspec.structs.replace(played, words="Long bows"))
    assert not any(is_way(s.exercise) for s in proposal.steps if not s.exercise.words)


def test_a_compound_beat_counts_in_dotted_quarters(services, topic):
    proposal = checked(services, topic, PieceAsk(passage_id=kept(services, JIG)))
    step = proposal.steps[-1]
    [tempo] = [t for t in step.criterion.tests if isinstance(t, TempoTest)]
    assert (tempo.mark, tempo.beat_unit_beats, step.exercise.tempo_bpm) == (96, 1.5, 144)
    assert (step.exercise.click.beat_unit_beats, step.exercise.click.beats_per_bar) == (1.5, 2)


def test_already_clean_at_the_goal_leaves_no_slow_steps(services, topic):
    proposal = piece(services, topic, goal_bpm=80, clean_bpm=120)
    assert {s.exercise.tempo_bpm for s in proposal.steps} == {80}


def test_some_bars_of_a_piece(services, topic):
    proposal = piece(services, topic, first_bar=4, last_bar=6)
    refs = [s.exercise.passage for s in proposal.steps]
    assert min(r.first_bar for r in refs) == 4
    assert max(r.last_bar for r in refs) == 6


def test_repeats_are_said_and_not_worked_on_twice(services, topic):
    abc = "X:1\nM:4/4\nL:1/4\nK:C\n|:CDEF|GFED:|C4|]\n"
    proposal = checked(services, topic, PieceAsk(passage_id=kept(services, abc)))
    assert "Repeats, only once: 2 bars." in " ".join(proposal.rests_on)
    assert not any(s.exercise.passage.first_bar == 3 for s in proposal.steps)


def test_bars_are_named_as_on_paper(services, topic):
    """A pianist's week: “Bars 9 to 12” of a minuet of 8 bars whose first half is repeated."""
    abc = "X:1\nM:3/4\nL:1/4\nK:G\n|:B d g|f e d|e c A|B3:|c e A|B d G|A c F|G3|]\n"
    proposal = checked(services, topic, PieceAsk(passage_id=kept(services, abc)))
    second = next(s for s in proposal.steps if s.title.startswith("Bars 5 to 8"))
    ref = second.exercise.passage
    assert (ref.first_bar, ref.last_bar) == (9, 12), "counted as played"
    assert not any("9" in t.partition(" at ")[0] for t in titles(proposal))
    assert "Bars have the numbers of the notation." in " ".join(proposal.rests_on)


def test_bars_that_a_repeat_begins_again_in_are_counted_as_played(services, topic):
    abc = "X:1\nM:4/4\nL:1/4\nK:C\n|:CDEF|GFED:|C4|]\n"
    ask = PieceAsk(passage_id=kept(services, abc), first_bar=2, last_bar=4)
    assert "Bars 2 to 3 as played at" in " ".join(titles(checked(services, topic, ask)))


def test_several_notes_at_once_are_said(services, topic):
    abc = "X:1\nM:4/4\nL:1/4\nK:C\n[CEG]4|[DFA]4|\n"
    proposal = checked(services, topic, PieceAsk(passage_id=kept(services, abc)))
    assert piece_words.SEVERAL_AT_ONCE in proposal.rests_on


# Technique


def test_patterns_sound_in_the_keys_asked_for(services, topic):
    ask = TechniqueAsk(keys=("Bb",), concert=True, instrument="alto saxophone in E♭")
    proposal = checked(services, topic, ask)
    passage = services.pile.exercise_passage(proposal.steps[0])
    assert proposal.steps[0].exercise.key == "G major"
    assert passage.notes[0].pitch % 12 == 10
    assert "G major on the page sounds B♭ major" in " ".join(proposal.rests_on)


def test_what_is_asked_of_each_kind_of_pattern(services, topic):
    ask = TechniqueAsk(rules=("scale", "long tones", "one note"), keys=("C",))
    proposal = checked(services, topic, ask)
    by_title = {s.title: question(s.criterion) for s in proposal.steps}
    assert any("in tune within" in q for t, q in by_title.items() if "long tones" in t)
    assert any("within 50 ms" in q for t, q in by_title.items() if "one note" in t)
    plain = [q for t, q in by_title.items() if t.startswith("C major, 2 octaves")]
    assert plain
    assert all("even within" in q for q in plain)
    assert any(isinstance(t, TuneTest) for s in proposal.steps for t in s.criterion.tests)


@pytest.mark.parametrize(
    ("instrument", "key", "asked", "ends"),
    [  # of the usual ranges and, where octaves are asked for, of the published ones
        ("viola", "C", 3, ("C3", "C6")),
        ("viola", "Eb", 3, ("E♭3", "E♭5")),
        ("violin", "G", 3, ("G3", "G6")),
        ("cello", "C", 3, ("C2", "C5")),
        ("piano", "C", 4, ("C3", "C7")),
        ("flute", "Bb", None, ("B♭4", "B♭6")),
        ("guitar", "C", None, ("C4", "C6")),  # sounds an octave lower
        ("double bass", "F", None, ("F2", "F4")),
        ("trumpet in B♭", "C", None, ("C4", "C5")),
        ("alto voice", "Eb", None, ("E♭4", "E♭5")),  # the usual range holds no octave of it
        ("bass voice", "Eb", None, ("E♭3", "E♭4")),
    ],
)
def test_octaves_are_those_asked_for_as_far_as_the_instrument_reaches(
    services, topic, instrument, key, asked, ends
):
    ask = TechniqueAsk(instrument=instrument, keys=(key,), octaves=asked)
    proposal = checked(services, topic, ask)
    notes = services.pile.exercise_passage(proposal.steps[0]).notes
    low, high = (end(notes, key=lambda n: n.written_pitch) for end in (min, max))
    assert (low.name, high.name) == ends
    found = (high.written_pitch - low.written_pitch) // 12
    assert f", {found} octave" in proposal.steps[0].title
    fewer = any("do not fit in every key" in s for s in proposal.rests_on)
    assert fewer is (asked is not None and found < asked)


def test_every_voice_can_sing_every_major_scale(services, topic):
    for name in (n for n in INSTRUMENTS if n.endswith("voice")):
        assert len(services.pile.propose_steps(topic.id, TechniqueAsk(instrument=name)).steps) == 13


def test_high_bars_change_the_clef_where_ledger_lines_would_pile_up(services, topic):
    for instrument, clef in (("viola", "treble"), ("cello", "tenor"), ("flute", None)):
        ask = TechniqueAsk(instrument=instrument, keys=("C",), octaves=3)
        [passage] = services.pile.propose_steps(topic.id, ask).passages
        assert (f"[K:clef={clef}]" in passage.text) is (clef is not None)


def test_twelve_keys_come_in_their_order_and_then_in_a_row(services, topic):
    proposal = checked(services, topic, TechniqueAsk())
    assert [s.exercise.key for s in proposal.steps][:3] == ["C major", "F major", "B♭ major"]
    assert len(proposal.steps) == 13
    assert len(proposal.steps[-1].needs) == 12
    assert isinstance(proposal.steps[-1].criterion.tests[0], OwnQuestionTest)


def test_too_many_steps_at_once(services, topic):
    rules = ("scale", "thirds", "arpeggio", "fours", "sixths", "fourths")
    with pytest.raises(RuleError, match=f"more than {STEPS_MOST} steps"):
        services.pile.propose_steps(topic.id, TechniqueAsk(rules=rules))


# A tune


BLUES = "F7 | Bb7 | F7 | Cm7 F7 | Bb7 | % | F7 | D7 | Gm7 | C7 | F7 D7 | Gm7 C7"


def by_title(proposal):
    return {s.title: s for s in proposal.steps}


def test_a_tune_from_its_page(services, topic):
    proposal = checked(services, topic, TuneAsk(passage_id=kept(services, TUNE)))
    names = [n.split(" at ♩")[0] for n in titles(proposal)]
    assert list(dict.fromkeys(names)) == [
        "Melody",
        "One chorus without stopping",
        "Roots",
        "Guide tones from the third",
        "Guide tones from the seventh",
        "Arpeggios",
        "The scale of each chord",
        "Thirds, enclosed from above and below",
        "One motif through the changes: 1, 2, 3, 5",
        "One chorus, each change met by its third or seventh",
        "Two choruses without stopping, click on 2 and 4",
        "One chorus in F major",
        "One chorus in B♭ major",
        "One chorus in E♭ major",
    ]
    choruses = [s for s in proposal.steps if "chorus" in s.title]
    assert all(s.criterion.changes for s in choruses)
    assert [s.exercise.click.on_beats for s in choruses if s.title.startswith("Two")] == [(2, 4)]
    assert "Not readable, left out: oops." in proposal.rests_on
    scales = next(s for s in proposal.steps if s.title.startswith("The scale of each"))
    assert scales.exercise.words.startswith("Dm7: D dorian; G7: G mixolydian")


def test_a_blues_in_f_is_written_with_one_flat_and_its_keys_begin_there(services, topic):
    """One flat, and E flat before the note where F7 needs it (common practice, no source)."""
    proposal = checked(services, topic, TuneAsk(changes=BLUES, other_keys=3))
    passages = [services.pile.exercise_passage(s) for s in proposal.steps]
    keys = [
        (s.exercise.key, p.bars[0].key_fifths)
        for s, p in zip(proposal.steps, passages, strict=True)
    ]
    assert list(dict.fromkeys(keys)) == [
        ("F major", -1), ("B♭ major", -2), ("E♭ major", -3), ("A♭ major", -4),
    ]  # fmt: skip
    assert "Keys in order: F, then B♭, E♭, A♭ (in the circle of fourths)." in proposal.rests_on
    arpeggios = passages[titles(proposal).index("Arpeggios at ♩ = 60")]
    assert [n.name for n in arpeggios.notes[:4]] == ["F4", "A4", "C5", "E♭5"]


def test_a_minor_blues_goes_through_minor_keys(services, topic):
    minor = "Cm7 | % | % | % | Fm7 | % | Cm7 | % | Ab7 | G7 | Cm7 | G7"
    proposal = checked(services, topic, TuneAsk(changes=minor, other_keys=2))
    keys = dict.fromkeys(s.exercise.key for s in proposal.steps)
    assert list(keys) == ["C minor", "F minor", "B♭ minor"]


def test_the_player_can_say_the_key(services, topic):
    ask = TuneAsk(changes="Dm7 | % | Ebm7 | Dm7", key="D dorian", other_keys=1)
    proposal = checked(services, topic, ask)
    assert {s.exercise.key for s in proposal.steps} == {"D dorian", "G dorian"}
    assert services.pile.exercise_passage(proposal.steps[0]).bars[0].key_fifths == 0
    assert "The key D dorian you gave." in proposal.rests_on


def test_improvising_waits_for_nothing_and_starts_at_the_clean_tempo(services, topic):
    ask = TuneAsk(passage_id=kept(services, TUNE), clean_bpm=66)
    steps = by_title(checked(services, topic, ask))
    first = steps["One chorus without stopping at ♩ = 66"]
    assert (first.needs, first.exercise.tempo_bpm) == ((), 66)
    assert steps["One chorus without stopping at ♩ = 132"].needs == (first.id,)
    met = steps["One chorus, each change met by its third or seventh at ♩ = 66"]
    waits = {s.title for s in steps.values() if s.id in met.needs}
    assert waits == {
        first.title,
        "Guide tones from the third at ♩ = 132",
        "Guide tones from the seventh at ♩ = 132",
    }


CLEAN, GOAL = 63.0, 96.0
WITH_CLEAN = {
    "piece": lambda services: PieceAsk(
        passage_id=kept(services, PIECE), clean_bpm=CLEAN, goal_bpm=GOAL
    ),
    "technique": lambda _: TechniqueAsk(clean_bpm=CLEAN, goal_bpm=GOAL),
    "tune": lambda _: TuneAsk(changes=BLUES, clean_bpm=CLEAN, goal_bpm=GOAL),
    "rhythm": lambda _: RhythmAsk(clean_bpm=CLEAN, goal_bpm=GOAL),
    "silent click": lambda _: RhythmAsk(parts=("silent click",), clean_bpm=CLEAN, goal_bpm=GOAL),
}


@pytest.mark.parametrize("kind", WITH_CLEAN)
def test_the_clean_tempo_that_was_typed_is_where_every_kind_of_work_begins(services, topic, kind):
    proposal = checked(services, topic, WITH_CLEAN[kind](services))
    first = proposal.steps[0]
    marks = [t.mark for t in first.criterion.tests if isinstance(t, TempoTest)]
    assert (first.exercise.tempo_bpm, marks) == (CLEAN, [CLEAN])
    assert first.needs == ()
    assert max(s.exercise.tempo_bpm for s in proposal.steps) == GOAL


def test_a_clean_tempo_beside_the_metronome_marks_is_kept_as_it_is(services, topic):
    proposal = checked(services, topic, TechniqueAsk(keys=("C",), clean_bpm=70, goal_bpm=80))
    assert [s.exercise.tempo_bpm for s in proposal.steps] == [70, 80]
    assert proposal.steps[-1].exercise.words == "Metronome marks: 70, 72, 76, 80"


def test_too_many_slow_steps_are_left_out_and_that_is_said(services, topic):
    ask = TechniqueAsk(rules=("scale", "thirds", "arpeggio"), clean_bpm=CLEAN)
    proposal = checked(services, topic, ask)
    assert {s.exercise.tempo_bpm for s in proposal.steps} == {96}
    assert any("more than 72 steps" in s for s in proposal.rests_on)


@pytest.mark.parametrize("name", [n for n in ASKS if "reading" not in n and "lines" not in n])
def test_one_exercise_has_one_tempo(services, topic, name):
    """Notation made for a step names none: the step's is the only one."""
    proposal = services.pile.propose_steps(topic.id, ASKS[name])
    assert not any("\nQ:" in passage.text for passage in proposal.passages)


def test_twelve_bars_for_a_b_flat_instrument_written_and_sounding(services, topic):
    """Concert B flat is written C for the trumpet in B flat (a fact of its notation)."""
    blues = "Bb7 | Eb7 | Bb7 | % | Eb7 | % | Bb7 | % | F7 | Eb7 | Bb7 | F7"
    ask = TuneAsk(changes=blues, concert=True, instrument="trumpet in B♭", other_keys=1)
    proposal = checked(services, topic, ask)
    first = services.pile.exercise_passage(proposal.steps[0])
    assert [h.symbol for h in first.harmonies][:2] == ["C7", "F7"]
    assert (proposal.steps[0].exercise.key, first.bars[0].key_fifths) == ("C major", 0)
    assert (first.notes[0].name[0], first.notes[0].pitch % 12) == ("C", 10)
    assert proposal.steps[-1].exercise.key == "F major"
    assert any("C major on the page sounds B♭ major" in s for s in proposal.rests_on)


def test_concert_changes_are_written_for_the_instrument(services, topic):
    proposal = checked(services, topic, ASKS["concert changes"])
    passage = services.pile.exercise_passage(proposal.steps[0])
    assert [h.symbol for h in passage.harmonies] == ["G", "C", "D7"]
    assert [n.pitch % 12 for n in passage.notes] == [0, 5, 7]


@pytest.mark.parametrize(
    ("instrument", "symbols"),
    [("clarinet in B♭", ["Em7", "A7", "Dmaj7"]), ("flute", ["Dm7", "G7", "Cmaj7"])],
)
def test_a_page_for_one_instrument_read_by_another(services, topic, instrument, symbols):
    abc = 'X:1\nM:4/4\nL:1/4\nK:D transpose=-2\n"Em7"E4|"A7"A4|"Dmaj7"d4|\n'
    ask = TuneAsk(passage_id=kept(services, abc), instrument=instrument)
    proposal = checked(services, topic, ask)
    [roots] = [s for s in proposal.steps if s.title.startswith("Roots")]
    passage = services.pile.exercise_passage(roots)
    assert [h.symbol for h in passage.harmonies] == symbols
    assert [n.pitch % 12 for n in passage.notes] == [2, 7, 0]


# Keeping


def test_proposing_twice_is_the_same(services, topic):
    ask = ASKS["few keys"]
    one, two = (services.pile.propose_steps(topic.id, ask) for _ in range(2))
    assert one == two


def test_keeping_is_one_append_and_twice_is_once(services, topic):
    proposal = services.pile.propose_steps(topic.id, ASKS["few keys"])
    before = services.store.last_sequence()
    assert services.pile.keep_proposal(proposal) == proposal.steps
    events = [event.data for _, event in services.store.events(after=before)]
    assert sum(isinstance(e, PassageKept) for e in events) == len(proposal.passages)
    assert sum(isinstance(e, StepKept) for e in events) == len(proposal.steps)
    assert services.pile.keep_proposal(proposal) == ()
    assert services.store.last_sequence() == before + len(events)


def test_what_the_player_changed_stays(services, topic):
    proposal = services.pile.propose_steps(topic.id, PlainAsk(lines="one\ntwo"))
    services.pile.keep_proposal(proposal)
    mine = msgspec.structs.replace(proposal.steps[0], title="mine")
    services.pile.keep_step(mine)
    services.pile.keep_proposal(proposal)
    assert services.state().steps[mine.id].title == "mine"


def test_needs_lead_past_what_is_left_out(services, topic):
    proposal = services.pile.propose_steps(topic.id, PlainAsk(lines="a\nb\nc\nd", in_order=True))
    a, b, c, d = proposal.steps
    kept_steps = services.pile.keep_proposal(proposal, [a.id, d.id])
    assert [s.title for s in kept_steps] == ["a", "d"]
    assert kept_steps[1].needs == (a.id,)
    assert without(proposal.steps, [b.id, c.id])[0].needs == ()


def test_only_the_passages_of_kept_steps_are_kept(services, topic):
    proposal = services.pile.propose_steps(topic.id, ASKS["few keys"])
    services.pile.keep_proposal(proposal, [proposal.steps[0].id])
    assert len(services.state().passages) == 1


def test_a_proposal_that_breaks_a_rule_keeps_nothing(services, topic):
    proposal = services.pile.propose_steps(topic.id, PlainAsk(lines="a\nb"))
    a, b = proposal.steps
    circle = Proposal(steps=(msgspec.structs.replace(a, needs=(b.id,)), b))
    before = services.store.last_sequence()
    with pytest.raises(RuleError):
        services.pile.keep_proposal(circle)
    assert services.store.last_sequence() == before


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (PlainAsk(lines="\n \n"), "no lines yet"),
        (PlainAsk(lines="x\n" * (STEPS_MOST + 1)), "are allowed"),
        (PlainAsk(lines="x" * 201), "at most 200 are allowed"),
        (PieceAsk(passage_id="none"), "This passage was not found"),
        (TuneAsk(), "no chord symbols"),
        (TechniqueAsk(goal_bpm=1.0), "must be at least 20"),
        (TechniqueAsk(keys=("X",)), "note name"),
        (TechniqueAsk(octaves=9), "must be at most 4"),
    ],
)
def test_what_cannot_be_proposed(services, topic, ask, sentence):
    with pytest.raises((InputError, NotFoundError)) as fault:
        services.pile.propose_steps(topic.id, ask)
    assert sentence in str(fault.value)


def test_bars_without_notes(services, topic):
    passage = kept(services, "X:1\nM:4/4\nL:1/4\nK:C\nC4|z4|\n")
    with pytest.raises(RuleError, match="no notes in these bars"):
        services.pile.propose_steps(topic.id, PieceAsk(passage_id=passage, first_bar=2, last_bar=2))
    assert services.pile.passages.selected(PassageRef(passage_id=passage)).notes


def test_no_topic(services):
    with pytest.raises(NotFoundError):
        services.pile.propose_steps("none", PlainAsk(lines="a"))


# Rhythm, intonation, reading


def test_three_against_two_and_a_click_that_falls_silent(services, topic):
    proposal = checked(services, topic, RhythmAsk(parts=("3 against 2", "silent click")))
    three = services.pile.exercise_passage(proposal.steps[0])
    assert proposal.steps[0].title.startswith("3 against 2: the three")
    first = [n.onset_beats for n in three.notes[:4]]
    assert first == pytest.approx([0, 2 / 3, 4 / 3, 2])  # three in the time of two quarters
    assert proposal.steps[0].exercise.click.beats_per_bar == 2
    both = services.pile.exercise_passage(proposal.steps[2])
    assert [n.onset_beats for n in both.notes[:4]] == [0, 1, 1.5, 2]
    silent = [s.exercise.click for s in proposal.steps if s.title.startswith("Click")]
    assert [(c.bars_on, c.bars_off) for c in silent] == [(2, 2), (1, 3), (1, 7)]


def test_compound_beats_are_whole_numbers_of_the_metronome(services, topic):
    ask = RhythmAsk(compound=True, goal_bpm=80.0, parts=("subdivisions", "silent click"))
    proposal = checked(services, topic, ask)
    assert all(s.title.endswith("♩. = 53") for s in proposal.steps)


def test_a_bass_voice_can_work_at_intervals_on_any_tonic(services, topic):
    for tonic in ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"):
        ask = IntonationAsk(tonic=tonic, instrument="bass voice")
        assert len(services.pile.propose_steps(topic.id, ask).steps) == 12


def test_four_against_three_is_the_two_rhythms_together(services, topic):
    proposal = checked(services, topic, RhythmAsk(parts=("4 against 3",)))
    four, _, both = (services.pile.exercise_passage(s) for s in proposal.steps)
    onsets = {n.onset_beats for n in both.notes if n.onset_beats < 3}
    assert [n.onset_beats for n in four.notes[:4]] == [0, 0.75, 1.5, 2.25]
    assert onsets == {0, 0.75, 1.5, 2.25} | {0, 1, 2}


def test_intervals_against_a_drone_say_how_wide_they_are(services, topic):
    """5-limit ratios: a just major third is 13.7 cents narrower, a fifth 2 wider."""
    just = checked(services, topic, ASKS["just intonation"])
    because = {s.title.split(" against")[0]: just.because[s.id] for s in just.steps}
    assert "14 cents narrower" in because["Major third"]
    assert "2 cents wider" in because["Fifth"]
    assert "16 cents wider" in because["Minor third"]
    assert not any(isinstance(t, TuneTest) for t in just.steps[1].criterion.tests)
    equal = services.pile.propose_steps(topic.id, ASKS["intonation"])
    assert all(any(isinstance(t, TuneTest) for t in s.criterion.tests) for s in equal.steps)
    assert "set the drone to A♭, which is your B♭" in " ".join(equal.rests_on)


def test_reading_is_fresh_by_its_number_and_the_same_by_the_same(services, topic):
    def texts(seed):
        ask = ReadingAsk(seed=seed, count=3, bars=4)
        return [p.text for p in services.pile.propose_steps(topic.id, ask).passages]

    assert texts(1) == texts(1)
    assert len({*texts(1), *texts(2)}) == 6


# What the player's own log corrects


def test_few_stretches_move_the_guess_little_and_many_move_it_far():
    slow = math.log(2.0)
    assert own.fitted([]).factor(0.3) == 1
    one, many = own.fitted([(0.25, slow)]), own.fitted([(0.25, slow)] * 30)
    assert 1 < one.factor(0.25) < 1.5 < many.factor(0.25) < 2
    assert own.fitted([(0.25, slow)] * 200).factor(0.25) == pytest.approx(2, rel=0.02)


def test_the_slope_is_that_of_least_squares_when_there_is_much_to_go_by():
    """numpy's least squares as the reference."""
    rng = np.random.default_rng(4)
    hard = rng.uniform(0.05, 0.7, 4000)
    ratio = 0.2 + 1.1 * (hard - 0.25) + rng.normal(0, 0.3, 4000)
    found = own.fitted(zip(hard, ratio, strict=True))
    slope, level = np.polyfit(hard - 0.25, ratio, 1)
    assert (found.level, found.slope) == pytest.approx((level, slope), abs=0.02)


def test_bars_that_took_longer_make_the_next_guess_longer(services, topic):
    proposal = piece(services, topic, clean_bpm=92)  # one step for each group of bars
    steps = [s for s in proposal.steps if s.title.startswith("Bars")]
    before = {s.title: s.need_min for s in proposal.steps}
    for step in steps:
        played = ev.SlotEnded(
            session_id="s", slot_id=step.id, step_id=step.id, played_s=60.0 * 3 * step.need_min
        )
        services.append(played)
        said = ev.TryAnswered(
            try_id=step.id, step_id=step.id, answer=Answer.YES, judge=Judge.PLAYER
        )
        services.append(said)
    again = services.pile.propose_steps(
        topic.id, PieceAsk(passage_id=kept(services, PIECE), clean_bpm=92)
    )
    told = [s for s in again.rests_on if "follow your own log" in s]
    assert told == [
        f"The minutes follow your own log ({len(steps)} stretches of bars "
        + told[0].partition("stretches of bars ")[2]
    ]
    after = {s.title: s.need_min for s in again.steps}
    assert all(after[s.title] > before[s.title] for s in steps)
