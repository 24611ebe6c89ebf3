"""An improvised step shows its chart wherever it is shown, and is heard as its changes."""

import re
import subprocess
import xml.etree.ElementTree as ET

import msgspec
import pytest
from desk import words

from coldtake.domain.plan import Wish
from coldtake.domain.topic import TopicKind
from coldtake.practice.topics.proposals.asks import TuneAsk
from coldtake.web.views.notation import notation_path
from coldtake.web.views.session_data import snapshot

SVG = "{http://www.w3.org/2000/svg}"
BLUES = "Bb7 | Eb7 | Bb7 | % | Eb7 | % | Bb7 | G7 | Cm7 | F7 | Bb7 G7 | Cm7 F7"


@pytest.fixture
def chorus(services, desk):
    """The first chorus of a blues in concert B flat, as a trumpet in B flat reads it."""
    topic = desk.topic("Blues for Monday", kind=TopicKind.TUNE)
    ask = TuneAsk(changes=BLUES, concert=True, instrument="trumpet in B♭", clean_bpm=80)
    first, *others = services.pile.keep_proposal(services.pile.propose_steps(topic.id, ask))
    return first, next(s for s in others if s.title.startswith("Roots"))


def chords_in(svg: str) -> list[str]:
    """What stands in every bar."""
    root = ET.fromstring(svg)
    bars = [g for g in root.iter(f"{SVG}g") if "bar" in g.get("class", "").split()]
    return [" ".join("".join(t.itertext()) for t in bar.iter(f"{SVG}text")) for bar in bars]


WRITTEN = ["C7", "F7", "C7", "C7", "F7", "F7", "C7", "A7", "Dm7", "G7", "C7 A7", "Dm7 G7"]


def test_the_image_is_a_chart_over_twelve_bars_and_has_no_notes(client, chorus):
    for width in ("400", "520", "900"):
        address = f"{notation_path(chorus[0])}&width={width}"
        svg = client.get(address).text
        assert chords_in(svg) == WRITTEN
        assert "data-note" not in svg
        root = ET.fromstring(svg)
        assert float(root.get("width")) > float(root.get("height")) / 2  # an image has its own size
    assert "data-note" in client.get(notation_path(chorus[1])).text  # written lines stay notes


def test_session_print_step_and_topic_show_the_same_chart(client, services, chorus):
    step, _ = chorus
    today = services.today()
    usual = services.plans.default_request(today)
    wishes = (Wish(step_id=step.id, minutes=8),)
    services.plans.propose(msgspec.structs.replace(usual, wishes=wishes))
    address = notation_path(step)
    shown = address.replace("&", "&amp;")
    assert snapshot(services)["steps"][step.id]["notation"] == address
    for page in (f"/steps/{step.id}", f"/topics/{step.topic_id}", f"/tomorrow/print?day={today}"):
        assert shown in client.get(page).text, page


def test_the_proposal_shows_it_before_anything_is_kept(client, services, desk):
    topic = desk.topic("Blues", kind=TopicKind.TUNE)
    query = {"way": "tune", "go": "1", "changes": BLUES, "key": "Bb", "instrument": "trumpet in C"}
    page = client.get(f"/topics/{topic.id}/proposal", params=query).text
    address = re.search(r'src="([^"]+as=chart[^"]*)"', page)[1].replace("&amp;", "&")
    assert chords_in(client.get(address).text)[:2] == ["B♭7", "E♭7"]
    assert "The key B♭ major you gave." in words(page)


def test_on_paper_it_is_a_chart_too(client, chorus, tmp_path):
    path = tmp_path / "out.pdf"
    path.write_bytes(client.get(f"/print.pdf?steps={chorus[0].id}").content)
    text = subprocess.run(["pdftotext", path, "-"], capture_output=True, text=True, check=True)
    assert sum(text.stdout.count(chord) for chord in ("A7", "G7")) >= 2
    assert "Dm7" in text.stdout


def test_it_is_heard_as_its_changes_at_sounding_pitch(client, chorus):
    address = notation_path(chorus[0])
    score = client.get(address.replace(".svg", ".json") + "&feel=two_beat").json()
    assert (score["notes"], len(score["bars"])) == ([], 12)
    assert score["tonic"] == 10  # B flat, which the trumpet reads as C
    assert min(n["pitch"] for n in score["band"] if n["onset"] == 0) % 12 == 10
    svg = client.get(address).text
    assert all(f'id="{bar["measure"]}"' in svg for bar in score["bars"])
    plain, band = (
        client.get(a.replace(".svg", ".wav")).content for a in (address.split("?")[0], address)
    )
    assert band[:4] == b"RIFF"
    assert band != plain
    page = client.get(f"/passages/{chorus[0].exercise.passage.passage_id}?step={chorus[0].id}").text
    assert "as=chart" in page


def test_a_page_without_chord_symbols_is_shown_as_it_is(client, services, desk):
    stored = services.pile.keep_passage(b"X:1\nM:4/4\nL:1/4\nK:C\nCDEF|\n", "plain.abc")
    assert "data-note" in client.get(f"/passages/{stored.id}.svg?as=chart").text
    assert client.get(f"/passages/{stored.id}.wav?as=chart").content[:4] == b"RIFF"
