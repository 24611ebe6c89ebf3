"""Proposing steps: the form, the list, the ticks, and what ends up on the map."""

import re
from html import unescape

import pytest
from desk import AIR, fault_of, words

from coldtake.domain.topic import TopicKind

RUN = "X:1\nT:Run\nM:4/4\nL:1/8\nQ:1/4=96\nK:D\n" + "DEFG ABcd | d2 A2 F2 D2 | " * 4 + "D8 |]\n"


def kept_passage(client, topic, abc=RUN):
    answer = client.post(f"/topics/{topic.id}/proposal/passage", data={"abc": abc, "way": "piece"})
    return re.search(r"passage_id=([\w-]+)", str(answer.url))[1]


def proposed(client, topic, **query):
    asks = {"go": "1", "instrument": "flute", **query}
    return client.get(f"/topics/{topic.id}/proposal", params=asks)


def ticks(page):
    return re.findall(r'name="keep" value="([^"]+)"', page.text)


def asked(page):
    return unescape(re.search(r'name="ask" value="([^"]+)"', page.text)[1])


def keep(client, topic, page, wanted):
    data = {"ask": asked(page), "keep": wanted}
    return client.post(f"/topics/{topic.id}/proposal", data=data)


def steps_of(services, topic):
    return services.state().topic_steps(topic.id)


@pytest.mark.parametrize(
    ("kind", "field"),
    [
        (TopicKind.PIECE, "first_bar"),
        (TopicKind.TECHNIQUE, "rules"),
        (TopicKind.TUNE, "changes"),
        (TopicKind.RHYTHM, "parts"),
        (TopicKind.INTONATION, "tonic"),
        (TopicKind.READING, "level"),
        (TopicKind.OTHER, "lines"),
    ],
)
def test_the_form_follows_the_kind_of_topic(client, desk, kind, field):
    topic = desk.topic(kind=kind)
    assert f'name="{field}"' in client.get(f"/topics/{topic.id}/proposal").text


def test_the_topic_leads_to_it(client, desk):
    topic = desk.topic()
    assert f'href="/topics/{topic.id}/proposal"' in client.get(f"/topics/{topic.id}").text


def test_a_piece_is_proposed_and_nothing_is_kept(client, services, desk):
    topic = desk.topic(kind=TopicKind.PIECE)
    page = proposed(client, topic, way="piece", passage_id=kept_passage(client, topic), goal="92")
    said = words(page.text)
    assert page.status_code == 200
    assert "Cold and from memory" in said
    assert "estimates from the notation" in said
    assert "Target: ♩ = 92 (yours)" in said
    assert steps_of(services, topic) == ()


def test_what_is_ticked_goes_onto_the_map(client, services, desk):
    topic = desk.topic(kind=TopicKind.PIECE)
    page = proposed(client, topic, way="piece", passage_id=kept_passage(client, topic))
    wanted = ticks(page)[:2] + ticks(page)[-1:]
    answer = keep(client, topic, page, wanted)
    assert str(answer.url).endswith(f"/topics/{topic.id}")
    assert [s.id for s in steps_of(services, topic)] == wanted
    keep(client, topic, page, wanted)  # sent twice
    assert len(steps_of(services, topic)) == 3


def test_patterns_come_with_their_notation(client, services, desk):
    topic = desk.topic(kind=TopicKind.TECHNIQUE)
    page = proposed(
        client, topic, way="technique", keys="Bb, E", instrument="clarinet in A", rules="thirds"
    )
    address = unescape(re.search(r'src="(/topics/[^"]+proposal\.svg[^"]+)"', page.text)[1])
    svg = client.get(address)
    assert svg.headers["content-type"].startswith("image/svg+xml")
    assert svg.text.startswith("<svg")
    assert services.state().passages == {}
    keep(client, topic, page, ticks(page))
    assert len(services.state().passages) == 2
    for step in steps_of(services, topic)[:4]:
        assert services.pile.exercise_passage(step).transposition == -3


def test_typed_changes(client, services, desk):
    topic = desk.topic(kind=TopicKind.TUNE)
    page = proposed(client, topic, way="tune", changes="Dm7 | G7 | Cmaj7 | %", goal="120")
    assert "Dm7: D dorian; G7: G mixolydian; Cmaj7: C major" in words(page.text)
    keep(client, topic, page, ticks(page))
    titles = [s.title for s in steps_of(services, topic)]
    assert titles[0] == "One chorus without stopping at ♩ = 72"
    assert titles[-1] == "One chorus in E♭ major at ♩ = 120"


def test_own_lines_are_shown_as_text(client, services, desk):
    topic = desk.topic()
    page = proposed(client, topic, way="plain", lines="<b>one</b>\ntwo", in_order="1")
    assert "<b>one" not in page.text
    keep(client, topic, page, ticks(page))
    first, second = steps_of(services, topic)
    assert (first.title, second.needs) == ("<b>one</b>", (first.id,))


@pytest.mark.parametrize(
    ("query", "sentence"),
    [
        ({"way": "piece"}, "No notation is chosen"),
        ({"way": "technique", "goal": "5"}, "from 20 to 400"),
        ({"way": "technique", "keys": "H"}, "does not begin with a note name"),
        ({"way": "technique", "low": "E"}, "is not a note with its octave"),
        ({"way": "technique", "low": "C4", "high": "G4"}, "no octave within the range"),
        ({"way": "technique", "rhythm": "half notes", "metre": "3/4"}, "do not fill a bar of 3/4"),
        ({"way": "technique", "metre": "5/8"}, "is not a known metre"),
        ({"way": "technique", "instrument": "kazoo"}, "not an instrument known here"),
        ({"way": "tune"}, "no chord symbols to start from"),
        ({"way": "tune", "changes": "Dm7 | Hx"}, "bar 2"),
        ({"way": "plain", "lines": " "}, "There are no lines yet"),
    ],
)
def test_what_cannot_be_proposed_says_why_beside_the_form(client, desk, query, sentence):
    topic = desk.topic()
    answer = proposed(client, topic, **query)
    assert answer.status_code == 422
    assert sentence in fault_of(answer)
    assert 'action="/topics/' in answer.text  # the form is still there, with what was typed


def test_bars_that_are_not_there(client, desk):
    topic = desk.topic(kind=TopicKind.PIECE)
    passage = kept_passage(client, topic, AIR)
    answer = proposed(client, topic, way="piece", passage_id=passage, last_bar="9")
    assert "Bars 1 to 9 are not in this passage" in fault_of(answer)


@pytest.mark.parametrize("ask", ["", "{", '{"ask":"opera"}', '{"ask":"piece"}'])
def test_a_broken_question_keeps_nothing(client, services, desk, ask):
    topic = desk.topic()
    answer = client.post(f"/topics/{topic.id}/proposal", data={"ask": ask, "keep": ["x"]})
    assert answer.status_code == 422
    assert "Suggest the steps again" in fault_of(answer)
    assert steps_of(services, topic) == ()


def test_no_tick_at_all(client, desk):
    topic = desk.topic()
    page = proposed(client, topic, way="plain", lines="one")
    assert "No step was chosen" in fault_of(keep(client, topic, page, []))


def test_unreadable_notation_says_so(client, services, desk):
    topic = desk.topic(kind=TopicKind.PIECE)
    answer = client.post(f"/topics/{topic.id}/proposal/passage", data={"abc": "X:1\nK:Q\nabc"})
    assert answer.status_code == 422
    assert services.state().passages == {}


def test_notation_that_was_not_proposed(client, desk):
    topic = desk.topic()
    ask = '{"ask":"plain","lines":"one"}'
    answer = client.get(f"/topics/{topic.id}/proposal.svg", params={"ask": ask, "passage": "x"})
    assert answer.status_code == 404


def test_reading_is_fresh_after_the_last_set_was_kept(client, services, desk):
    topic = desk.topic(kind=TopicKind.READING)
    first = proposed(client, topic, way="reading", count="2", bars="4", seed="0")
    assert "Difficulty 0." in words(first.text)
    keep(client, topic, first, ticks(first))
    form = client.get(f"/topics/{topic.id}/proposal", params={"way": "reading"})
    assert 'name="seed" min="0" max="10000000" value="2"' in form.text
    again = proposed(client, topic, way="reading", count="2", bars="4", seed="2")
    assert not set(ticks(again)) & {s.id for s in steps_of(services, topic)}


def test_rhythm_and_intonation_forms(client, services, desk):
    topic = desk.topic(kind=TopicKind.RHYTHM)
    page = proposed(client, topic, way="rhythm", parts=["silent click", "3 against 2"], goal="72")
    assert "Click 2 bars, silent 2 bars, ♩ = 72" in words(page.text)
    drone = proposed(client, topic, way="intonation", tonic="D", tuning="just")
    assert "Major third against a drone on D, just tuning" in words(drone.text)
    wrong = proposed(client, topic, way="intonation", tonic="H")
    assert wrong.status_code == 422
