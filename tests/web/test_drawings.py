"""The geometry of what is drawn: minutes to widths, sound to outline, figures to places."""

import re
from dataclasses import replace
from datetime import timedelta

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldtake.domain.history.state import State
from coldtake.domain.session import SessionRun, SlotRun
from coldtake.domain.take import Answer, Figure, NoteEvidence, NoteStatus
from coldtake.listening.dispatch import extremes
from coldtake.messages.formats import number
from coldtake.practice.reports.progress import CleanTempo, ExerciseTempo
from coldtake.web.rendering import minutes, percent, without_answer
from coldtake.web.views.charts import chords_of, whole_parts
from coldtake.web.views.evidence import beat_of, kind_of, limit_words, scale_of
from coldtake.web.views.progress_charts import progress_of, tempo_chart, tempo_words, week_rows
from coldtake.web.views.stave import one_line_stave, plan_stave
from coldtake.web.views.tries import tries_stave
from coldtake.web.views.waveform import HEIGHT, drawn
from making import NOON, attempt, plan, slot, step

lengths = st.lists(st.integers(1, 40), min_size=1, max_size=6)


def day_of(periods):
    return plan(
        *(
            tuple(slot(step(f"{p} {n}"), minutes=m, name=f"{p} {n}") for n, m in enumerate(period))
            for p, period in enumerate(periods)
        )
    )


@given(st.lists(lengths, min_size=1, max_size=4))
def test_a_bar_is_as_wide_as_its_minutes_on_every_system(periods):
    drawn = plan_stave(State(), day_of(periods))
    bars = [b for s in drawn.systems for b in s.bars]
    wholes = [
        m
        for p, period in enumerate(periods)
        for m in (*period, *([5] if p < len(periods) - 1 else []))
    ]
    scale = {round((b.to - b.start) / m, 1) for b, m in zip(bars, wholes, strict=True)}
    assert max(scale) - min(scale) <= 0.11
    assert max(s.width for s in drawn.systems) == pytest.approx(100)
    assert [s.final for s in drawn.systems] == [False] * (len(periods) - 1) + [True]


@given(st.lists(lengths, min_size=1, max_size=4))
def test_on_one_line_the_bars_fill_it(periods):
    (system,) = one_line_stave(State(), day_of(periods)).systems
    assert system.bars[0].start == 0
    assert system.bars[-1].to == pytest.approx(100)
    assert all(a.to == b.start for a, b in zip(system.bars, system.bars[1:], strict=False))


def test_what_was_played_is_inked_with_its_answers():
    a, b, c = (slot(step(name), name=name) for name in "abc")
    day = plan((a, b, c))
    run = SessionRun(id="s", plan=day, day=NOON.date(), started_at=NOON)
    run.slots = [
        SlotRun(slot_id=a.id, step_id=a.step_id, started_at=NOON, planned_s=60, ended_at=NOON),
        SlotRun(slot_id=b.id, step_id=b.step_id, started_at=NOON, planned_s=60),
    ]
    (system,) = plan_stave(State(), day, run).systems
    assert [bar.state for bar in system.bars] == ["done", "now", "coming"]


def test_tries_stand_by_day_with_their_signs():
    tries = [
        attempt(Answer.NO, day=0, cold=True),
        attempt(Answer.YES, day=0, number=1),
        attempt(Answer.CANNOT_TELL, day=2, cold=True),
    ]
    (system,) = tries_stave(tries).systems
    assert [[m.sign for m in bar.marks] for bar in system.bars] == [["no", "yes"], ["cannot_tell"]]
    assert system.bars[0].marks[0].cold
    assert "12 Jan: no cold, yes" in system.words
    assert tries_stave([]) is None


def test_of_many_tries_the_last_days_are_drawn():
    tries = [attempt(Answer.YES, day=d, number=n) for d in range(10) for n in range(4)]
    (system,) = tries_stave(tries).systems
    assert len(system.bars) == 4
    (crowded,) = tries_stave([attempt(Answer.NO, number=n) for n in range(30)]).systems
    assert len(crowded.bars[0].marks) == 30


def heights(path):
    return [float(p.split()[1]) for p in path.strip("MZ").split("L")]


def test_an_outline_reaches_the_loudest_sample_and_stays_inside():
    sound = np.concatenate([np.zeros(500), np.full(500, 0.5), np.full(500, -0.25)])
    found = heights(drawn(*extremes(sound.astype(np.float32), 3)))
    assert found[0] == HEIGHT / 2
    assert found[1] == pytest.approx(HEIGHT * 0.02)
    assert all(0 <= h <= HEIGHT for h in found)


@pytest.mark.parametrize("samples", [0, 1, 2, 599])
def test_a_very_short_sound_has_an_outline_too(samples):
    assert drawn(*extremes(np.zeros(samples, dtype=np.float32), 600)).startswith("M")


def figure(value, spread, threshold):
    return Figure(
        name="tempo", value=value, uncertainty=spread, threshold=threshold, unit="bpm", passed=None
    )


def test_a_scale_keeps_the_order_of_its_places():
    scale = scale_of(figure(74.0, 2.0, 80.0))
    assert 0 < scale.low < scale.value < scale.high < scale.limits[0] < 100
    nothing = scale_of(figure(None, None, 80.0))
    assert (nothing.value, nothing.low) == (None, None)
    equal = scale_of(figure(0.0, 0.0, 0.0))
    assert equal.value == equal.limits[0] == 50


def test_a_range_has_both_its_limits_in_words_and_on_the_scale():
    tempo = msgspec.structs.replace(figure(53.0, 0.4, 50.0), least=46.0, most=54.0)
    assert limit_words(tempo) == "Allowed: 46 to 54 bpm"
    scale = scale_of(tempo)
    assert 0 < scale.limits[0] < scale.value < scale.limits[1] < 100
    assert limit_words(figure(53.0, 0.4, 50.0)) == "Target: 50 bpm"  # of an older verdict
    stop = Figure(
        name="no_stops", value=0.2, uncertainty=0.1, threshold=1.0, unit="beats", passed=True
    )
    assert limit_words(stop) == "Allowed: 1 beat"
    assert limit_words(msgspec.structs.replace(stop, threshold=2.0)) == "Allowed: 2 beats"


def note(status=NoteStatus.RIGHT, **fields):
    return NoteEvidence(id="n", status=status, **fields)


@pytest.mark.parametrize(
    ("evidence", "kind"),
    [
        (note(), "right"),
        (note(NoteStatus.WRONG), "wrong"),
        (note(NoteStatus.MISSED), "missed"),
        (note(NoteStatus.EXTRA, confidence=0.1), "extra"),
        (note(NoteStatus.WRONG, confidence=0.3), "unsure"),
        (note(displaced=True, deviation_ms=80.0), "late"),
        (note(displaced=True, deviation_ms=-80.0), "early"),
    ],
)
def test_a_note_is_marked_for_what_it_was(evidence, kind):
    assert kind_of(evidence) == kind


def test_an_extra_note_stands_between_those_heard_around_it():
    heard = (note(expected_beat=0.0, onset_s=1.0), note(expected_beat=2.0, onset_s=2.0))
    assert beat_of(note(NoteStatus.EXTRA, onset_s=1.25), heard) == pytest.approx(0.5)
    assert beat_of(note(NoteStatus.EXTRA), ()) == 0.0


def test_chords_stack_what_was_met_above_and_what_slipped_below():
    chords = chords_of([("4 Jan", 2, 1, 1), ("11 Jan", 0, 0, 0)])
    first, second = chords.chords
    above = [sign for y, sign in first.notes if y < chords.base]
    below = [sign for y, sign in first.notes if y > chords.base]
    assert (above, below) == (["yes", "yes", "held"], ["no"])
    assert second.notes == ()
    assert all(0 <= y <= chords.height for y, _ in first.notes)


def test_weeks_of_all_topics_stand_on_one_scale():
    rows = week_rows({"a": [30.0, 0.0], "b": [15.0, 60.0]}, {"a": "A"})
    assert [r.title for r in rows] == ["A", "a deleted topic"]
    assert [r.total for r in rows] == [30.0, 75.0]
    assert rows[0].strokes == ((25.0, 20.0),)  # half of 40 px, nothing for the empty week
    assert rows[1].strokes == ((25.0, 30.0), (75.0, 0.0))
    assert week_rows({}, {}) == ()


def test_minutes_of_topics_and_days_add_up_to_what_stands_above_them():
    """A singer's week: 28, 18 and 6 under a sum of 53; a pianist's: 34 and 23 under 56."""
    rows = week_rows({"a": [33.5, 0.4], "b": [22.6, 0.4]}, {})
    assert [r.minutes for r in rows] == [(33, 1), (23, 0)]
    rows = week_rows({"a": [28.45], "b": [18.4], "c": [6.3]}, {})
    assert [r.total for r in rows] == [29, 18, 6]
    assert sum(r.total for r in rows) == 53


@given(st.lists(st.floats(0.0, 500.0), max_size=12))
def test_whole_parts_make_the_whole(parts):
    whole = whole_parts(parts)
    assert sum(whole) == round(sum(parts))
    assert all(abs(w - p) < 1.0 for w, p in zip(whole, parts, strict=True))


def clean_at(*tempi, every=4, goal=100.0):
    one = step("one")
    days = (NOON.date() + timedelta(days=every * n) for n in range(len(tempi)))
    clean = tuple(CleanTempo(day, t, one) for day, t in zip(days, tempi, strict=True))
    return ExerciseTempo(topic_id="t", steps=(one,), clean=clean, goal_bpm=goal, unit_beats=1.0)


def test_a_day_of_slow_practice_says_nothing_of_where_a_tempo_leads():
    plain, mixed = clean_at(60.0, 70.0, 76.0, 80.0, 83.0), clean_at(60.0, 70.0, 76.0, 80.0, 83.0)
    slow = tuple(CleanTempo(c.day + timedelta(days=1), 40.0, c.step) for c in mixed.clean)
    mixed = replace(mixed, clean=tuple(sorted((*mixed.clean, *slow), key=lambda c: c.day)))
    assert progress_of(mixed).limit_bpm == progress_of(plain).limit_bpm
    assert progress_of(clean_at(60.0, 50.0, 55.0, 52.0, 50.0)) is None


def test_a_goal_is_never_said_for_a_day_gone_by():
    told = clean_at(60.0, 70.0, 76.0, 80.0, 83.0, goal=85.0)
    fit = progress_of(told)
    late = told.clean[-1][0] + timedelta(days=200)
    early, mid, _ = tempo_words(told, fit, late).reached
    assert early == mid == late
    soon = tempo_words(told, fit, told.clean[-1][0]).reached
    assert soon[0] < soon[1] < late


def test_a_tempo_chart_keeps_within_its_frame():
    told = clean_at(60.0, 70.0, 76.0, 80.0, 83.0)
    today = told.clean[-1][0] + timedelta(days=3)
    chart = tempo_chart(told, progress_of(told), today)
    numbers = [float(n) for n in re.findall(r"[\d.]+", chart.curve + " " + chart.band)]
    places = [*numbers[::2], *(x for *_, x, _ in chart.points), chart.now_x]
    heights = [*numbers[1::2], *(y for *_, y in chart.points), *(y for _, y in chart.lines)]
    assert 0 <= min(places) <= max(places) <= 100
    assert 0 <= min(heights) <= max(heights) <= chart.height
    assert [y for *_, y in chart.points] == sorted((y for *_, y in chart.points), reverse=True)
    assert chart.last > today
    reached = tempo_chart(clean_at(60.0, 100.0), None, today)
    assert (reached.curve, reached.last) == ("", today)
    assert tempo_chart(clean_at(60.0), None, NOON.date()).points[0][2] == 1.0


@pytest.mark.parametrize(
    ("share", "said"),
    [(0.714, "71%"), (0.0, "0%"), (0.001, "less than 1%"), (0.9999, "more than 99%")],
)
def test_chances_are_never_said_surer_than_they_are(share, said):
    assert percent(share) == said


def test_numbers_are_said_plainly():
    assert [number(v) for v in (3.0, -2.5, 0.04, -0.01, 100.0)] == ["3", "−2.5", "0", "0", "100"]
    assert number(100.0, 0) == "100"
    assert [minutes(v) for v in (45.2, 90, 605)] == ["45 min", "1 h 30 min", "10 h 5 min"]
    assert without_answer("No: one wrong note.") == "One wrong note."
    assert without_answer("Nobody played.") == "Nobody played."
