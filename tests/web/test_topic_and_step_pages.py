"""A topic's map and a step: order, needs, question, notation, and what cannot be."""

import html
import io
import re
import zipfile
from datetime import timedelta

import numpy as np
import pytest
import soundfile
from desk import AIR, fault_of, words

from coldtake.domain.criterion import (
    ConditionsTest,
    Criterion,
    EvennessTest,
    NoStopsTest,
    NotesTest,
    OwnQuestionTest,
    SteadinessTest,
    TempoTest,
    Times,
    TimingTest,
    TuneTest,
)
from coldtake.domain.events import TryAnswered
from coldtake.domain.take import Answer, Judge
from coldtake.domain.topic import TopicKind

ABOUT = {"title": "Air in C", "kind": "piece", "importance": "4", "performance_on": "", "notes": ""}


def step_of(services, step):
    return services.state().steps[step.id]


# A topic


def test_a_topic_keeps_what_is_said_about_it(client, services, desk):
    topic = desk.topic()
    day = services.today() + timedelta(days=30)
    about = ABOUT | {"performance_on": day.isoformat(), "notes": "with repeats"}
    client.post(f"/topics/{topic.id}", data=about)
    kept = services.state().topics[topic.id]
    assert (kept.kind, kept.importance, kept.performance_on, kept.notes) == (
        TopicKind.PIECE,
        4,
        day,
        "with repeats",
    )


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"performance_on": "2020-01-01"}, "2020-01-01 is in the past"),
        ({"performance_on": "soon"}, "is not a date"),
        ({"importance": "9"}, "from 1 to 5"),
        ({"importance": "very"}, "is not a number"),
        ({"kind": "opera"}, "is not allowed"),
        ({"title": ""}, "This field is empty"),
    ],
)
def test_what_a_topic_cannot_be(client, services, desk, change, sentence):
    topic = desk.topic()
    answer = client.post(f"/topics/{topic.id}", data=ABOUT | change)
    assert answer.status_code == 422
    assert sentence in fault_of(answer)
    assert services.state().topics[topic.id] == topic


def test_a_date_that_has_passed_meanwhile_may_stay(client, services, desk, clock):
    day = services.today() + timedelta(days=1)
    topic = desk.topic(performance_on=day)
    clock.go_on(days=3)
    answer = client.post(f"/topics/{topic.id}", data=ABOUT | {"performance_on": day.isoformat()})
    assert answer.status_code == 200
    assert services.state().topics[topic.id].performance_on == day


def test_steps_move_and_stop_at_the_ends(client, services, desk):
    topic = desk.topic()
    a, b, c = (desk.step(topic, name) for name in "abc")

    def order():
        return [s.title for s in services.state().topic_steps(topic.id)]

    client.post(f"/steps/{c.id}/move", data={"by": "-1"})
    assert order() == ["a", "c", "b"]
    client.post(f"/steps/{a.id}/move", data={"by": "-1"})
    assert order() == ["a", "c", "b"]
    client.post(f"/steps/{a.id}/move", data={"by": "1"})
    assert order() == ["c", "a", "b"]
    assert b.title == "b"


def test_a_dropped_step_is_gone_from_the_map(client, services, desk):
    step = desk.step(desk.topic())
    client.post(f"/steps/{step.id}/drop")
    assert services.state().steps == {}
    assert client.get(f"/steps/{step.id}").status_code == 404


def test_the_map_says_what_a_step_waits_for(client, desk):
    topic = desk.topic()
    first = desk.step(topic, "First things")
    desk.step(topic, "Then this", needs=(first.id,))
    assert "waits for First things" in words(client.get(f"/topics/{topic.id}").text)


@pytest.mark.parametrize("met", [0, 1])
def test_the_map_says_of_no_open_or_met_step_that_it_waits(client, services, desk, met):
    """The plan opens what needs a step once that was met, also where it slipped since."""
    topic = desk.topic()
    first = desk.step(topic, "First things")
    then = desk.step(topic, "Then this", needs=(first.id,))
    for step, days_ago, answer in (((first, then)[met], 3, Answer.YES), (first, 1, Answer.NO)):
        at = services.now() - timedelta(days=days_ago)
        said = TryAnswered(
            try_id=services.log.new_id(), step_id=step.id, answer=answer, judge=Judge.PLAYER
        )
        services.append(said, at=at, day=at.date())
    said = words(client.get(f"/topics/{topic.id}").text)
    assert "waits for" not in said
    assert "after First things" in said


# The question


EVERYTHING = {
    "notes": "1",
    "notes_allowed": "2",
    "no_stops": "1",
    "no_stops_hesitation_beats": "1,5",
    "tempo": "1",
    "tempo_mark": "54",
    "tempo_beat_unit_beats": "1.5",
    "tempo_within_percent": "8",
    "timing": "1",
    "timing_tolerance_ms": "60",
    "timing_share_percent": "85",
    "steadiness": "1",
    "steadiness_change_percent": "5",
    "evenness": "1",
    "evenness_deviation_ms": "30",
    "tune": "1",
    "tune_tolerance_cents": "20",
    "tune_share_percent": "80",
    "condition standing": "1",
    "conditions_more": "in the hall, ",
    "own_question": "1",
    "own_words": "Does it sing?",
    "times_wanted": "3",
    "times_among": "5",
}


def test_every_test_can_be_asked_and_comes_back_into_the_editor(client, services, desk):
    step = desk.step(desk.topic())
    client.post(f"/steps/{step.id}/criterion", data=EVERYTHING)
    criterion = step_of(services, step).criterion
    assert set(criterion.tests) == {
        NotesTest(allowed=2),
        NoStopsTest(hesitation_beats=1.5),
        TempoTest(mark=54, beat_unit_beats=1.5, within_percent=8),
        TimingTest(tolerance_ms=60, share_percent=85),
        SteadinessTest(change_percent=5),
        EvennessTest(deviation_ms=30),
        TuneTest(tolerance_cents=20, share_percent=80),
        ConditionsTest(stated=("standing", "in the hall")),
        OwnQuestionTest(question="Does it sing?"),
    }
    assert criterion.times == Times(wanted=3, among=5)
    page = client.get(f"/steps/{step.id}").text
    for value in ("54", "60", "85", "1.5", "in the hall"):
        assert f'value="{value}"' in page, value


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"tempo_mark": "-60"}, "from 10 to 400"),
        ({"tempo_mark": "fast"}, "is not a number"),
        ({"timing_share_percent": "120"}, "from 0 to 100 %"),
        ({"notes_allowed": "1.5"}, "is not a whole number"),
        ({"own_words": " "}, "This field is empty"),
        ({"times_wanted": "0"}, "how often"),
        ({"times_wanted": "6"}, "6 yes answers out of 5 tries is not possible"),
    ],
)
def test_thresholds_that_cannot_be(client, services, desk, change, sentence):
    step = desk.step(desk.topic())
    answer = client.post(f"/steps/{step.id}/criterion", data=EVERYTHING | change)
    assert answer.status_code == 422
    assert sentence in fault_of(answer)
    assert step_of(services, step) == step


def test_a_question_without_a_test_is_none(client, desk):
    step = desk.step(desk.topic())
    answer = client.post(f"/steps/{step.id}/criterion", data={"times_wanted": "1"})
    assert "at least one test" in fault_of(answer)


# Name, need, needs


def test_needs_are_kept(client, services, desk):
    topic = desk.topic()
    a, b = desk.step(topic, "a"), desk.step(topic, "b")
    client.post(f"/steps/{b.id}", data={"title": "b", "need_min": "90", "needs": [a.id]})
    assert (step_of(services, b).needs, step_of(services, b).need_min) == ((a.id,), 90)
    client.post(f"/steps/{b.id}", data={"title": "b", "need_min": "90"})
    assert step_of(services, b).needs == ()


def test_a_step_cannot_need_itself(client, services, desk):
    step = desk.step(desk.topic())
    answer = client.post(
        f"/steps/{step.id}", data={"title": "x", "need_min": "9", "needs": [step.id]}
    )
    assert answer.status_code == 422
    assert "cannot need itself" in fault_of(answer)
    assert step_of(services, step) == step


@pytest.mark.parametrize("minutes", ["-5", "0", "", "many", "7000"])
def test_minutes_that_cannot_be_needed(client, services, desk, minutes):
    step = desk.step(desk.topic())
    answer = client.post(f"/steps/{step.id}", data={"title": "x", "need_min": minutes})
    assert answer.status_code == 422
    assert "minutes needed" in fault_of(answer)
    assert step_of(services, step) == step


# Exercise


def musicxml() -> bytes:
    return b"""<?xml version="1.0"?><score-partwise version="4.0">
<part-list><score-part id="P1"><part-name>C</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions><key><fifths>0</fifths></key>
<time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef>
</attributes><note><pitch><step>C</step><octave>5</octave></pitch><duration>4</duration>
<type>whole</type></note></measure></part></score-partwise>"""


def mxl() -> bytes:
    container = (
        '<?xml version="1.0"?><container><rootfiles><rootfile full-path="a.xml"/></rootfiles>'
        "</container>"
    )
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w") as parts:
        parts.writestr("META-INF/container.xml", container)
        parts.writestr("a.xml", musicxml())
    return data.getvalue()


def test_pasted_abc_is_engraved_and_sets_tempo_and_click(client, services, desk):
    step = desk.step(desk.topic())
    abc = "X:1\nT:Jig\nM:6/8\nL:1/8\nQ:3/8=60\nK:D\nDFA dAF|\n"
    client.post(f"/steps/{step.id}/passage", data={"abc": abc})
    exercise = step_of(services, step).exercise
    assert exercise.tempo_bpm == 90
    assert exercise.click.beat_unit_beats == 1.5
    assert exercise.click.beats_per_bar == 2
    svg = client.get(f"/passages/{exercise.passage.passage_id}.svg")
    assert svg.headers["content-type"].startswith("image/svg+xml")
    assert svg.text.startswith("<svg")
    assert "<script" not in svg.text


@pytest.mark.parametrize(
    ("name", "data"),
    [("a.musicxml", musicxml()), ("a.mxl", mxl()), ("a.abc", AIR.encode())],
    ids=["musicxml", "mxl", "abc"],
)
def test_uploaded_notation_is_kept(client, services, desk, name, data):
    step = desk.step(desk.topic())
    client.post(f"/steps/{step.id}/passage", files={"file": (name, data)})
    assert step_of(services, step).exercise.passage is not None


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("broken.musicxml", musicxml()[:300]),
        ("midi.musicxml", b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x00\x60MTrk"),
        ("empty.abc", b""),
        ("notes.abc", b"Dear diary, today I practised."),
    ],
)
def test_unreadable_notation_says_so_and_keeps_nothing(client, services, desk, name, data):
    step = desk.step(desk.topic())
    answer = client.post(f"/steps/{step.id}/passage", files={"file": (name, data)})
    assert answer.status_code == 422
    assert len(fault_of(answer)) > 40
    assert services.state().passages == {}
    assert step_of(services, step) == step


def test_no_notation_at_all(client, desk):
    step = desk.step(desk.topic())
    answer = client.post(f"/steps/{step.id}/passage", data={"abc": " "})
    assert "There is no notation yet" in fault_of(answer)


EXERCISE = {"beat_unit": "1", "tempo": "80", "key": "C", "words": "", "beats_per_bar": "4"}


def test_bars_tempo_and_click_are_kept(client, services, desk):
    step = desk.step(desk.topic(), passage=True)
    form = EXERCISE | {"first_bar": "2", "last_bar": "3", "beat_unit": "0.5", "click": "1"}
    client.post(f"/steps/{step.id}/exercise", data=form | {"count_in": "2"})
    exercise = step_of(services, step).exercise
    assert (exercise.passage.first_bar, exercise.passage.last_bar) == (2, 3)
    assert exercise.tempo_bpm == 40
    assert (exercise.click.on, exercise.click.count_in_bars) == (True, 2)
    client.post(f"/steps/{step.id}/exercise", data=EXERCISE)
    exercise = step_of(services, step).exercise
    assert exercise.passage.first_bar is None
    assert exercise.click.on is False


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"first_bar": "3", "last_bar": "2"}, "Bars 3 to 2"),
        ({"last_bar": "9"}, "Bars 1 to 9"),
        ({"tempo": "1000"}, "from 10 to 400"),
        ({"beats_per_bar": "0,5"}, "beats in a bar"),
    ],
)
def test_an_exercise_that_cannot_be(client, services, desk, change, sentence):
    step = desk.step(desk.topic(), passage=True)
    answer = client.post(f"/steps/{step.id}/exercise", data=EXERCISE | change)
    assert answer.status_code == 422
    assert sentence in fault_of(answer)
    assert step_of(services, step) == step


@pytest.mark.parametrize("query", ["first=0", "first=x", "first=9", "width=9000000"])
def test_notation_that_is_not_there(client, desk, query):
    step = desk.step(desk.topic(), passage=True)
    path = f"/passages/{step.exercise.passage.passage_id}.svg?{query}"
    assert client.get(path).status_code == 422


def test_an_unknown_passage(client):
    assert client.get("/passages/none.svg").status_code == 404


def test_notation_without_a_title_is_called_after_its_step(client, desk, services):
    step = desk.step(desk.topic(), "The leap")
    client.post(f"/steps/{step.id}/passage", data={"abc": "X:1\nL:1/4\nK:C\nCDEF|\n"})
    (kept,) = services.state().passages.values()
    assert kept.title == "The leap"


def test_hear_it_sounds_as_long_as_the_passage_at_its_tempo(client, desk):
    step = desk.step(desk.topic(), passage=True)  # three bars of four quarters
    page = client.get(f"/steps/{step.id}").text
    address = html.unescape(re.search(r'href="([^"]+)" data-hear', page)[1])
    assert address.endswith("?bpm=96")
    for bpm, bars, seconds in ((96, "", 7.5), (192, "", 3.75), (96, "&first=1&last=1", 2.5)):
        answer = client.get(address.replace("96", str(bpm)) + bars)
        assert answer.headers["content-type"] == "audio/wav"
        samples, rate = soundfile.read(io.BytesIO(answer.content))
        assert len(samples) / rate == pytest.approx(seconds, abs=0.6)  # notes ring on a little
        strongest = np.argmax(np.abs(np.fft.rfft(samples[: rate // 2]))) / (rate // 2 / rate)
        # C4 in equal temperament at A4 = 440 Hz (ISO 16:1975), or one of its partials
        assert strongest / 261.63 == pytest.approx(round(strongest / 261.63), abs=0.02)


def test_what_cannot_sound_says_why(client, desk):
    step = desk.step(desk.topic(), passage=True)
    address = f"/passages/{step.exercise.passage.passage_id}.wav"
    assert "from 10 to 400" in fault_of(client.get(f"{address}?bpm=0"))
    assert client.get(f"{address}?first=7").status_code == 422
    assert client.get("/passages/none.wav").status_code == 404


def test_an_upload_that_fails_leads_back_to_its_step(client, desk):
    step = desk.step(desk.topic(), passage=True)
    address = f"/steps/{step.id}"
    answer = client.post(
        f"{address}/takes",
        files={"sound": ("a.wav", b"")},
        headers={"Referer": f"http://localhost{address}"},
    )
    assert answer.status_code == 422
    assert f'href="{address}">Back' in answer.text
    foreign = client.post(f"{address}/takes", headers={"Referer": "http://elsewhere/steps"})
    assert ">Back" not in foreign.text


def test_an_exercise_has_one_tempo_story_on_every_page(client, services, desk):
    """Seen on a print and a session: title 60, stave 96, “begin near 40”."""
    asked = Criterion(tests=(NotesTest(), TempoTest(mark=60.0)))
    topic = desk.topic("Air in C")
    step = desk.step(topic, "Bars 1 and 2, at 60", passage=True, criterion=asked)
    desk.step(topic, "Bars 1 and 2 once more", passage=True, criterion=asked)
    day = services.today().isoformat()
    client.post("/tomorrow", data={"minutes": "30", "starts_at": "17:00", "day": day})
    topics = client.get(f"/topics/{topic.id}").text
    of_step = client.get(f"/steps/{step.id}").text
    printed = client.get(f"/tomorrow/print?day={day}").text
    for page in (topics, of_step, printed):
        assert "mark=60&amp;unit=1" in page
        assert "Start near ♩ = 40" in words(page) or "Start today at ♩ = 40" in words(page)
    assert topics.count("<img") == 1, "the same music at other tempi is shown once"
    assert "Target: ♩ = 60 or faster." in words(of_step)
    assert "Written: ♩ = 96." in words(of_step)
    address = re.search(r'/passages/[^"]+mark=60&amp;unit=1', of_step)[0].replace("&amp;", "&")
    stave = client.get(address).text
    assert "= 60" in stave
    assert "= 96" not in stave
    plain = client.get(address.partition("?")[0]).text
    assert "= 96" in plain
    for told in client.get("/api/session").json()["steps"].values():
        assert told["notation"].endswith("mark=60&unit=1")
        assert told["written"] == "Written: ♩ = 96."
