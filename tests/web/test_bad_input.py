"""What once answered 500, hung, or was kept although it was refused; `tests/fuzz` tries more."""

import json

import msgspec
import pytest
from desk import AIR, fault_of, words

from coldtake.domain import events as ev
from coldtake.domain.topic import Exercise, PassageRef, StoredPassage

DEEP = 100_000
NESTED = {
    "MusicXML": '<score-partwise version="4.0"><part-list/><part id="P1"><measure number="1">'
    + "<note>" * 2000 + "</note>" * 2000 + "</measure></part></score-partwise>",
    "MEI": '<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body>'
    + "<mdiv>" * 2000 + "</mdiv>" * 2000 + "</body></music></mei>",
}  # fmt: skip
SCORE = (
    '<?xml version="1.0" encoding="{encoding}"?><score-partwise version="4.0"><part-list>'
    '<score-part id="P1"><part-name>x</part-name></score-part></part-list><part id="P1">'
    '<measure number="1"><attributes><divisions>1</divisions><time><beats>4</beats>'
    "<beat-type>4</beat-type></time><transpose><chromatic>{semitones}</chromatic></transpose>"
    "</attributes><note><pitch><step>C</step><octave>4</octave></pitch><duration>4</duration>"
    '<type>whole</type></note><barline location="right"><repeat direction="backward" '
    'times="{times}"/></barline></measure></part></score-partwise>'
)


def score(encoding="utf-8", semitones=0, times=2) -> bytes:
    return SCORE.format(encoding=encoding, semitones=semitones, times=times).encode()


@pytest.fixture
def sent(client, services, desk):
    """Send notation to a step; say what was answered and what was kept of it."""
    made = desk.step(desk.topic())

    def send(data: bytes, name: str):
        before = services.store.last_sequence()
        answer = client.post(f"/steps/{made.id}/passage", files={"file": (name, data)})
        return answer, services.store.last_sequence() - before

    return send


@pytest.mark.parametrize("form", NESTED)
def test_elements_nested_two_thousand_deep(sent, form):
    answer, kept = sent(NESTED[form].encode(), "deep.xml")
    assert answer.status_code == 422
    assert f"the {form} is broken: its elements are nested more than 100 deep" in fault_of(answer)
    assert kept == 0


@pytest.mark.parametrize("encoding", ["punycode", "undefined", "idna", "zlib", "unicode_escape"])
def test_encodings_that_are_none_of_text_are_read_as_utf_8(sent, encoding):
    answer, kept = sent(score(encoding), "odd.xml")
    assert answer.status_code == 200
    assert kept == 2  # the passage, and the step that is played from it


@pytest.mark.parametrize(("semitones", "words"), [
    (1_000_000, "1,000,000 semitones"), (-1_000_000, "semitones"), (45, ""), (-61, "semitones"),
])  # fmt: skip
def test_a_transposition_is_bounded(sent, semitones, words):
    answer, kept = sent(score(semitones=semitones), "far.xml")
    assert (answer.status_code, bool(kept)) == ((422, False) if words else (200, True))
    assert words in fault_of(answer)


def test_a_thousand_million_repeats_are_refused_at_once(sent):
    answer, kept = sent(score(times=10**9), "again.xml")
    assert answer.status_code == 422
    assert "the repeats are to be played more than" in fault_of(answer)
    assert kept == 0


def test_a_step_whose_kept_notation_is_refused_today_opens_and_can_be_given_another(
    client, services, desk
):
    """Earlier versions kept such a transposition."""
    made, ref = desk.step(desk.topic()), PassageRef(passage_id=services.log.new_id())
    old = StoredPassage(
        id=ref.passage_id, title="Far", format="musicxml", text=score(semitones=10**6).decode()
    )
    step = msgspec.structs.replace(made, exercise=Exercise(passage=ref, tempo_bpm=96))
    services.append(ev.PassageKept(passage=old), ev.StepKept(step=step))
    page = client.get(f"/steps/{made.id}")
    assert page.status_code == 200
    assert "cannot be read: transposition: it is to sound 1,000,000" in words(page.text)
    assert client.get(f"/passages/{old.id}.wav").status_code == 422
    client.post(f"/steps/{made.id}/passage", data={"abc": AIR})
    assert "cannot be read" not in client.get(f"/steps/{made.id}").text


@pytest.mark.parametrize("text", ["X:1\nM:99/1\nK:C\nCDEF|\n", "X:1\nQ:1/4=900\nK:C\nCDEF|\n"])
def test_nothing_is_kept_of_notation_that_a_step_cannot_be_played_from(
    client, services, desk, text
):
    made = desk.step(desk.topic(), exercise=Exercise())
    before = services.store.last_sequence()
    answer = client.post(f"/steps/{made.id}/passage", data={"abc": text})
    assert answer.status_code == 422
    assert services.store.last_sequence() == before
    assert services.state().passages == {}


@pytest.mark.parametrize("path", ["/api/events", "/api/session/start", "/api/session/lead"])
@pytest.mark.parametrize("body", [b"[" * DEEP, b'{"a":' * DEEP, b"[" + b"[" * 5000 + b"]" * 5001])
def test_nested_json(client, services, path, body):
    before = services.store.last_sequence()
    answer = client.post(path, content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code in (200, 422)  # a list of one unfit event is an answer too
    assert services.store.last_sequence() == before
    assert client.get("/data").status_code == 200


def test_nested_json_beside_a_take_and_in_a_form(client, desk):
    made = desk.step(desk.topic())
    query = {"step_id": made.id, "click": "[" * 5000}
    take = "0190163d-8694-739b-aea5-966c26f8ad01"
    assert client.put(f"/api/takes/{take}", params=query, content=b"x").status_code == 422
    path = f"/topics/{made.topic_id}/proposal"
    assert client.post(path, data={"ask": "[" * DEEP}).status_code == 422


@pytest.mark.parametrize("seen", [2**63, 2**64, 2**53, -1, 10**400])
def test_how_far_a_device_has_seen_is_bounded(client, seen):
    body = json.dumps({"device": "a", "seen": seen})
    assert client.post("/api/session/lead", content=body).status_code == 422


def test_five_thousand_unfit_events_are_one_transaction(client, services, monkeypatch):
    """Each in its own took 40 s."""
    kept = services.store.refuse_all
    calls = []
    monkeypatch.setattr(
        services.store, "refuse_all", lambda rows: calls.append(1) or kept(list(rows))
    )
    body = json.dumps([{"id": str(n), "at": "x" * 400 + str(n)} for n in range(5000)])
    answer = client.post("/api/events", content=body).json()
    assert len(answer["refused"]) == 5000
    assert max(len(one["why"]) for one in answer["refused"]) <= 300
    assert len(services.store.refused()) == 5000
    assert len(calls) == 1


@pytest.mark.parametrize("came_from", ["http://[::1", "http://[", "//\u00ff", "x" * 5000])
def test_an_error_page_for_whoever_says_badly_where_they_came_from(client, came_from):
    headers = {"Referer": came_from.encode("latin-1")}
    assert client.get("/nowhere", headers=headers).status_code == 404
    own = headers | {"Origin": "http://localhost"}
    assert client.post("/long-work/seen", headers=own, follow_redirects=False).status_code == 303


def test_of_several_settings_all_are_kept_or_none(client, services):
    before = services.store.last_sequence()
    sent = {"session_minutes": "45", "current_topics": "many"}
    assert client.post("/settings", data=sent).status_code == 422
    assert services.store.last_sequence() == before
    client.post("/settings", data={"session_minutes": "45", "current_topics": "5"})
    chosen = services.settings.all()
    assert (chosen["session_minutes"], chosen["current_topics"]) == (45, 5)


def test_a_midi_file_of_three_thousand_parts_is_refused_at_once(client, services):
    """Each part had read all of it again: 199 s of a processor."""
    track = b"\0\x90\x3c\x40\x83\x60\x80\x3c\0\0\xff\x2f\0"
    many = b"MThd\0\0\0\6\0\1\x0b\xb8\1\xe0" + (b"MTrk\0\0\0\x0d" + track) * 3000
    page = client.post("/import", files={"files": ("tracks.mid", many)})
    assert "has 3,000 parts; up to 64 can be read" in words(page.text)
    assert services.state().passages == {}
