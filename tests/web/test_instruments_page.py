"""The instrument is asked once and followed everywhere; a topic can name another."""

import re

import pytest
from desk import words

from coldtake.domain.topic import TopicKind
from coldtake.music.exercises.rhythms import ARTICULATIONS, articulations_for
from coldtake.music.theory.instruments import INSTRUMENTS, Family

ASK = {"way": "technique", "go": "1", "keys": "C"}


def chosen(page, name="instrument"):
    """What stands in a select."""
    field = re.search(rf'<select name="{name}">(.*?)</select>', page, re.DOTALL)[1]
    found = re.search(r"<option selected>([^<]+)", field)
    return found[1] if found else ""


def test_a_newcomer_says_it_with_the_first_line_and_is_not_asked_again(client, services, desk):
    client.post("/first", data={"title": "Long tones", "instrument": "viola"})
    assert services.settings.instruments() == ("viola",)
    topic = desk.topic("Scales", kind=TopicKind.TECHNIQUE)
    page = client.get(f"/topics/{topic.id}/proposal", params=ASK).text
    assert chosen(page) == "viola"
    assert "two slurred, two separate" in page
    assert "tongued" not in page


def test_without_an_answer_the_form_asks_and_remembers(client, services, desk):
    topic = desk.topic("Scales", kind=TopicKind.TECHNIQUE)
    page = client.get(f"/topics/{topic.id}/proposal", params=ASK)
    assert page.status_code == 422
    assert "No instrument is chosen." in words(page.text)
    page = client.get(f"/topics/{topic.id}/proposal", params={**ASK, "instrument": "bassoon"}).text
    ask = re.search(r'name="ask" value="([^"]+)"', page)[1].replace("&#34;", '"')
    keep = re.findall(r'name="keep" value="([^"]+)"', page)
    client.post(f"/topics/{topic.id}/proposal", data={"ask": ask, "keep": keep})
    assert services.settings.instruments() == ("bassoon",)


def test_a_topic_names_another_and_the_usual_one_stays(client, services, desk):
    services.settings.choose_instruments(("bassoon",))
    topic = desk.topic("Scales", kind=TopicKind.TECHNIQUE)
    data = {"title": "Scales", "kind": "technique", "importance": "3", "instrument": "piano"}
    client.post(f"/topics/{topic.id}", data=data)
    assert services.state().topics[topic.id].instrument == "piano"
    assert chosen(client.get(f"/topics/{topic.id}/proposal", params=ASK).text) == "piano"
    assert chosen(client.get(f"/topics/{topic.id}").text) == "piano"
    assert services.settings.instruments() == ("bassoon",)
    client.post(f"/topics/{topic.id}", data={**data, "instrument": ""})
    assert services.state().topics[topic.id].instrument == ""
    assert "as usual: bassoon" in client.get(f"/topics/{topic.id}").text


def test_settings_hold_several_and_refuse_what_is_none(client, services):
    client.post("/settings", data={"instruments": ["viola", "piano", "", "viola"]})
    assert services.settings.instruments() == ("viola", "piano")
    page = client.get("/settings").text
    assert page.count('<select name="instruments">') == 3
    answer = client.post("/settings", data={"instruments": ["kazoo"]})
    assert answer.status_code == 422
    assert services.settings.instruments() == ("viola", "piano")
    client.post("/settings", data={"instruments": ["", ""]})
    assert services.settings.instruments() == ()


@pytest.mark.parametrize("family", Family)
def test_each_family_is_offered_its_own_words_and_every_articulation_somewhere(family):
    own = articulations_for(family)
    assert len(own) == 8
    shared = {"as it comes", "staccato", "tenuto"}
    assert shared <= set(own)
    assert {n for f in Family for n in articulations_for(f)} == set(ARTICULATIONS)


def test_the_families_of_some_instruments():
    """Common practice, no source."""
    families = {name: INSTRUMENTS[name].family for name in ("viola", "guitar", "piano", "tuba")}
    assert list(families.values()) == [Family.BOWED, Family.PLUCKED, Family.KEYS, Family.WIND]
    assert INSTRUMENTS["alto voice"].family is Family.VOICE
