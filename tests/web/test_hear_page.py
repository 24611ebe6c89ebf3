"""The page to hear a passage: its score for the player, its bars, and slower recordings."""

import numpy as np
import pytest
from desk import fault_of, words

from coldtake.web.pages.topics.passages import BARS_SHOWN
from coldtake.web.views.sound_score import deviations

TUNE = """X:1
T:Evening tune
M:4/4
L:1/4
Q:1/4=120
K:F
C|:"F"FGAc|"Gm7"d2 "C7"c2:|"F"F4|]
"""
CLARINET = """<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Clarinet
</part-name></score-part></part-list><part id="P1"><measure number="1"><attributes>
<divisions>1</divisions><key><fifths>2</fifths></key><time><beats>4</beats>
<beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef><transpose>
<diatonic>-1</diatonic><chromatic>-2</chromatic></transpose></attributes><harmony><root>
<root-step>D</root-step></root><kind>major</kind></harmony><note><pitch><step>D</step>
<octave>4</octave></pitch><duration>4</duration><type>whole</type></note></measure></part>
</score-partwise>"""


@pytest.fixture
def tune(services):
    return services.pile.keep_passage(TUNE.encode(), "tune.abc").id


def score(client, passage_id, query=""):
    answer = client.get(f"/passages/{passage_id}.json{query}")
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_the_players_score_says_beats_pitches_and_bars(client, tune):
    told = score(client, tune)
    assert [n["pitch"] for n in told["notes"][:5]] == [60, 65, 67, 69, 72]
    assert [n["onset"] for n in told["notes"][:5]] == [0, 1, 2, 3, 4]
    assert [b["label"] for b in told["bars"]] == ["0", "1", "2", "1", "2", "3"]
    assert told["bars"][1]["measure"] == told["bars"][3]["measure"] != told["bars"][2]["measure"]
    assert (told["bpm"], told["unit"], told["tonic"], told["band"]) == (120, 1, 5, [])
    svg = client.get(f"/passages/{tune}.svg").text
    assert all(f'id="{b["measure"]}"' in svg for b in told["bars"])
    assert all(f'data-note="{h}"' in svg for n in told["notes"] for h in n["heads"])


def test_a_part_of_it_keeps_its_places_on_the_page(client, tune):
    told = score(client, tune, "?first=3&last=4")
    assert [b["label"] for b in told["bars"]] == ["2", "1"]
    assert told["bars"][0]["onset"] == 0
    assert score(client, tune, "?only=bars") == {"bars": score(client, tune)["bars"]}


def test_the_accompaniment_stands_on_the_bars_of_the_page(client, tune):
    band = score(client, tune, "?feel=two_beat")["band"]
    bass = [n["onset"] for n in band if n["part"] == "bass"]
    assert bass == [1, 3, 5, 7, 9, 11, 13, 15, 17, 19]
    assert fault_of(client.get(f"/passages/{tune}.json?feel=waltz")).startswith(
        "This style does not"
    )


def test_a_transposing_instrument_is_accompanied_at_sounding_pitch(client, services):
    kept = services.pile.keep_passage(CLARINET.encode(), "clarinet.musicxml").id
    told = score(client, kept, "?feel=held")
    assert told["notes"][0]["pitch"] == 60
    assert {n["pitch"] % 12 for n in told["band"]} == {0, 4, 7}
    assert told["tonic"] == 0


def test_six_eight_beats_in_dotted_quarters(client, services):
    abc = b"X:1\nM:6/8\nL:1/8\nK:C\nCDE FGA|c6|\n"
    assert score(client, services.pile.keep_passage(abc, "jig.abc").id)["unit"] == 1.5


def test_tunings_are_the_ratios_of_just_intonation():
    """Third 5/4 = 386.314 cents, fifth 3/2 = 701.955 cents: ratios computed, 1200 log2 r."""
    just = deviations("just")
    assert just[4] == pytest.approx(386.3137 - 400, abs=1e-3)
    assert just[7] == pytest.approx(701.955 - 700, abs=1e-3)
    assert deviations("equal") == [0.0] * 12


def test_the_page_offers_what_the_music_has(client, services, tune, desk):
    page = client.get(f"/passages/{tune}?first=2&last=3&bpm=100").text
    assert 'data-score="/passages/' in page
    assert "?first=2&amp;last=3" in page
    assert 'value="100"' in page
    assert "walking bass" in page
    plain = desk.step(desk.topic(), passage=True)
    ref = plain.exercise.passage.passage_id
    page = client.get(f"/passages/{ref}?step={plain.id}").text
    assert "Accompaniment" not in page, "no chords on this page"
    assert f'href="/steps/{plain.id}"' in page
    assert f"/passages/{ref}?step={plain.id}" in client.get(f"/steps/{plain.id}").text


def test_long_music_is_turned_over(client, services):
    bars = "|".join(["CDEF"] * (2 * BARS_SHOWN + 5))
    kept = services.pile.keep_passage(f"X:1\nM:4/4\nL:1/4\nK:C\n{bars}|]\n".encode(), "l.abc").id
    first = client.get(f"/passages/{kept}").text
    assert f"Bars {BARS_SHOWN + 1} to {2 * BARS_SHOWN}" in words(first)
    middle = words(client.get(f"/passages/{kept}?first=65&last=128").text)
    assert "Bars 1 to 64" in middle
    assert "Bars 129 to 133" in middle


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ("?first=7&last=9", "bars 7 to 9 are not in it"),
        ("?first=x", "is not a number"),
        ("?bpm=5", "from 10 to 400"),
    ],
)
def test_what_cannot_be_heard_is_said(client, tune, query, said):
    answer = client.get(f"/passages/{tune}{query}")
    assert answer.status_code == 422
    assert said in fault_of(answer)


def test_no_such_passage(client):
    assert client.get("/passages/none").status_code == 404
    assert client.get("/passages/none.json").status_code == 404


CHART = {"text": "|: Dm7 | G7 | 1. C6 :| 2. Cmaj7 |", "metre": "4/4"}


def test_typed_changes_are_shown_and_played_in_the_order_of_their_repeats(client):
    told = client.get("/changes.json", params={**CHART, "feel": "held"}).json()
    assert [b["measure"] for b in told["bars"]] == [f"bar-{n}" for n in (0, 1, 2, 0, 1, 3)]
    assert [b["onset"] for b in told["bars"]] == [0, 4, 8, 12, 16, 20]
    assert [n["pitch"] % 12 for n in told["band"] if n["part"] == "bass"] == [2, 7, 0] * 2
    svg = client.get("/changes.svg", params=CHART).text
    assert all(svg.count(f'id="bar-{n}"') == 1 for n in range(4))
    assert "svg:" not in svg
    page = client.get("/changes", params=CHART).text
    assert "walking bass, swung" in page
    assert "Written notes" not in page
    waltz = client.get("/changes", params={**CHART, "metre": "3/4"}).text
    assert "waltz" in waltz
    assert "Show chart" in client.get("/changes").text


@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"text": "Dm7 | H7"}, "bar 2"),
        ({"metre": "4/5"}, "is no metre"),
        ({"text": "C | " * 1500}, "is the limit"),
    ],
)
def test_changes_that_cannot_be_read(client, query, said):
    answer = client.get("/changes", params={**CHART, **query})
    assert answer.status_code == 422
    assert said in fault_of(answer)


RATE = 16_000
SOUND = (0.3 * np.sin(2 * np.pi * 440 * np.arange(2 * RATE) / RATE)).astype("<f4")


def slow(client, body, **query):
    asked = {"rate": RATE, "speed": 50, "first": 0.5, "last": 1.5, **query}
    return client.post("/slow", params=asked, content=body)


def test_samples_come_back_slower(client):
    answer = slow(client, SOUND.tobytes())
    assert answer.status_code == 200
    found = np.frombuffer(answer.content, dtype="<f4")
    assert found.size == 2 * RATE
    assert 0.25 < np.abs(found).max() < 0.35


@pytest.mark.parametrize(
    ("body", "query", "said"),
    [
        (b"", {}, "The recording has no sound"),
        (b"123", {}, "The recording has no sound"),
        (np.full(RATE, np.nan, dtype="<f4").tobytes(), {}, "This is not a recording"),
        (SOUND.tobytes(), {"speed": 30}, "from 40 to 120"),
        (SOUND.tobytes(), {"last": 9}, "outside the recording"),
        (SOUND.tobytes(), {"first": 1.5}, "outside the recording"),
        (SOUND.tobytes(), {"rate": "nan"}, "not allowed"),
        (bytes(4 * 70 * RATE), {}, "at most 60 seconds"),
    ],
)
def test_what_cannot_be_slowed_is_said(client, body, query, said):
    answer = slow(client, body, **query)
    assert answer.status_code == 422
    assert said in fault_of(answer)
