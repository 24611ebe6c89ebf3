"""Pages of a topic: kept as they came, marked by two places, played from as a picture.

The page is engraved by verovio and set on paper by typst; its systems are counted by verovio.
"""

import io
import json
import re
import shutil
import zipfile
from datetime import timedelta

import numpy as np
import pytest
import typst
import verovio
from desk import Desk, TestClient, words
from PIL import Image

from coldtake.bootstrap import open_services
from coldtake.cli.check import lines_of
from coldtake.domain.page import PageView
from coldtake.music.notation.reading.reader import read_passage
from coldtake.practice.archive.reading import Archive
from coldtake.web.app import create_app
from coldtake.web.views.session_data import snapshot
from making import NOON, SteppingClock

LINE = "GABc|dBGB|c2AF|F2D2|GBdg|gdBG|cAFD|G4|\n"
ABC = "X:1\nT:Invented\nM:4/4\nL:1/4\nK:G\n" + 3 * LINE


@pytest.fixture(scope="module")
def paper(tmp_path_factory):
    """A PDF of one page, and how many systems verovio set on it."""
    folder = tmp_path_factory.mktemp("paper")
    kit = verovio.toolkit()
    kit.setOptions({"pageWidth": 1800, "pageHeight": 2400, "scale": 60, "adjustPageHeight": True})
    assert kit.loadData(read_passage(ABC, "abc").mei)
    svg = kit.renderToSVG(1)
    (folder / "a.svg").write_text(svg)
    text = '#set page(width: 210mm, height: 297mm, margin: 15mm)\n#image("a.svg", width: 180mm)'
    (folder / "a.typ").write_text(text)
    pdf = typst.compile(folder / "a.typ", format="pdf")
    return pdf, len(re.findall(r'class="system"', svg))


@pytest.fixture(scope="module")
def kept(tmp_path_factory, paper):
    """A data folder with a topic that has this page: measured once, copied for each test."""
    folder = tmp_path_factory.mktemp("kept")
    services = open_services(folder, clock=SteppingClock(NOON - timedelta(hours=1)))
    with TestClient(create_app(services), base_url="http://localhost") as client:
        made = Desk(services).topic("Waltz")
        files = {"pages": ("waltz.pdf", paper[0], "application/pdf")}
        assert client.post(f"/topics/{made.id}/pages", files=files).status_code == 200
    services.close()
    return folder


@pytest.fixture
def services(tmp_path, clock, kept):
    shutil.copytree(kept, tmp_path / "data")
    opened = open_services(tmp_path / "data", clock=clock)
    yield opened
    opened.close()


@pytest.fixture
def topic(services):
    [made] = services.state().topics.values()
    return made


def mark(client, topic, **other):
    fields = {"first_page": 1, "first_at": 0, "last_page": 1, "last_at": 100, "title": "Line 1"}
    return client.post(f"/topics/{topic.id}/pages/step", data=fields | other)


def test_a_file_is_kept_as_it_came_and_its_systems_are_found(client, services, topic, paper):
    [page] = services.pages.of_topic(topic.id)
    assert len(page.view.systems) == paper[1]  # counted by verovio
    assert (page.view.turn, page.view.angle_deg) == (0, 0.0)
    assert services.pages.original(page.file.id) == paper[0]
    assert client.get(f"/pages/{page.file.id}/file").content == paper[0]
    assert "waltz.pdf" in words(client.get(f"/topics/{topic.id}").text)
    assert client.get(f"/pages/{page.view.key}").status_code == 200
    picture = Image.open(io.BytesIO(client.get(f"/pages/{page.view.key}/picture.png").content))
    box = page.view.right - page.view.left
    assert picture.width == pytest.approx(2404 * box, abs=3)  # A4 with its longer side at 3400


def test_a_marked_step_shows_its_systems_and_is_answered_by_the_player(
    client, services, topic, paper
):
    view = services.pages.of_topic(topic.id)[0].view
    second = 100 * (sum(view.systems[1]) / 2 - view.top) / (view.bottom - view.top)
    answer = mark(client, topic, last_at=second + 1, tempo=72)
    assert "You answer it yourself" in words(answer.text)
    [step] = services.state().topic_steps(topic.id)
    assert [b.number for b in step.exercise.marked] == [1, 1]
    assert step.exercise.tempo_bpm == 72
    svg = client.get(f"/passages/of-step/{step.id}.svg?width=900").text
    assert svg.count('class="system"') == 2
    narrow = client.get(f"/passages/of-step/{step.id}.svg?width=320").text
    assert narrow.count('class="system"') == 4  # staves stay legible on a phone
    changed = {"beat_unit": "1", "tempo": "80", "click": "1"}
    client.post(f"/steps/{step.id}/exercise", data=changed)
    assert services.pile.step(step.id).exercise.marked == step.exercise.marked


def test_the_session_is_told_that_it_is_a_picture(client, services, topic):
    mark(client, topic)
    [step] = services.state().topic_steps(topic.id)
    services.plans.propose(services.plans.default_request(services.today()))
    told = snapshot(services)["steps"][step.id]
    assert told["picture"]
    assert not told["heard"]
    assert told["notation"] == f"/passages/of-step/{step.id}.svg"


def test_pencil_is_drawn_over_the_picture_and_stops_turning(client, services, topic):
    mark(client, topic)
    [step] = services.state().topic_steps(topic.id)
    page = services.pages.of_topic(topic.id)[0]
    address = f"/pages/{page.view.key}"
    middle = round(10_000 * sum(page.view.systems[0]) / 2)
    strokes = [[3000, middle, 4000, middle, 5000, middle + 20]]
    client.post(f"{address}/pencil", data={"strokes": json.dumps(strokes)})
    svg = f"/passages/of-step/{step.id}.svg"
    assert client.get(svg).text.count("<polyline") == 1
    refused = client.post(f"{address}/turn", data={"by": "1", "angle": "0"})
    assert "pencil marks" in words(refused.text)
    client.post(f"{address}/pencil", data={"strokes": "[]"})
    assert "<polyline" not in client.get(svg).text
    client.post(f"{address}/turn", data={"by": "2", "angle": "0"})
    assert services.pages.of_topic(topic.id)[0].view.turn == 2
    assert services.pile.step(step.id).exercise.marked[0].turn == 0  # its picture stays


@pytest.mark.parametrize("strokes", ["", "[[1,2]]", "[[1,2,3,20000]]", "[" * 5000])
def test_pencil_marks_that_cannot_be_are_refused(client, services, topic, strokes):
    page = services.pages.of_topic(topic.id)[0]
    answer = client.post(f"/pages/{page.view.key}/pencil", data={"strokes": strokes})
    assert answer.status_code == 422
    assert services.pages.of_topic(topic.id)[0].strokes == ()


def test_a_photo_on_its_side_and_askew_is_turned_and_straightened(services, desk, paper):
    import pypdfium2

    upright = pypdfium2.PdfDocument(paper[0])[0].render(scale=2.0).to_pil().convert("L")
    photo = upright.rotate(-3.0, expand=True, fillcolor=255).transpose(Image.Transpose.ROTATE_90)
    out = io.BytesIO()
    photo.save(out, "JPEG", quality=70)
    topic = desk.topic("Photo")
    services.pages.keep(topic.id, [("photo.jpg", out.getvalue())])
    view = services.pages.of_topic(topic.id)[0].view
    assert view.turn in (1, 3)
    assert view.angle_deg == pytest.approx(3.0, abs=0.3)
    assert len(view.systems) == paper[1]


def _white(size) -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.full(size, 255, np.uint8)).save(out, "PNG")
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.pdf", b"%PDF-1.7 broken", "broken"),
        ("a.png", b"\x89PNG\r\n\x1a\n", "broken"),
        ("a.txt", b"words", "not a PDF, PNG or JPEG"),
        ("bomb.png", _white((20_000, 20_000)), "pixels"),
    ],
)
def test_what_cannot_be_opened_is_refused_and_nothing_is_kept(
    client, services, topic, name, data, said
):
    before = services.state().page_files.keys()
    answer = client.post(f"/topics/{topic.id}/pages", files={"pages": (name, data)})
    assert answer.status_code == 422
    assert said in words(answer.text)
    assert services.state().page_files.keys() == before
    assert services.take_files.there() == before


def test_an_archive_brings_the_pages_back_as_they_came(services, topic, paper, tmp_path):
    services.archiving.export(tmp_path / "a.zip")
    [file] = services.state().page_files.values()
    with zipfile.ZipFile(tmp_path / "a.zip") as packed:
        assert packed.read(f"pages/{file.id}.pdf") == paper[0]
    other = open_services(tmp_path / "other")
    try:
        with Archive(tmp_path / "a.zip") as archive:
            brought = other.archiving.restore(archive)
        assert (brought.missing_takes, brought.damaged_takes, brought.takes) == ((), (), 0)
        assert other.pages.original(file.id) == paper[0]
        assert not other.care.check().strays
    finally:
        other.close()


def test_a_file_of_pages_that_is_lost_is_called_by_its_name(client, services, topic):
    """It lies with the takes, and is none: no address of a take, no word of a verdict."""
    [file] = services.state().page_files.values()
    services.take_files.path(file.id).write_bytes(b"nothing")
    services.care.check()
    page = client.get("/data").text
    assert "The file “waltz.pdf” of a topic’s pages is damaged" in page
    assert f"/takes/{file.id}" not in page
    assert lines_of(services.care.last(), (), services.state())[1] == (
        "The file of pages “waltz.pdf” is damaged."
    )


def test_a_deleted_file_leaves_the_topic_and_not_its_steps(client, services, topic):
    mark(client, topic)
    [file] = services.state().page_files.values()
    [step] = services.state().topic_steps(topic.id)
    client.post(f"/pages/{file.id}/delete", data={})
    assert services.pages.of_topic(topic.id) == ()
    assert client.get(f"/passages/of-step/{step.id}.svg").status_code == 200
    assert "Restore this file" in client.get(f"/pages/{file.id}/1").text
    client.post(f"/pages/{file.id}/delete", data={"deleted": "no"})
    assert len(services.pages.of_topic(topic.id)) == 1


def test_a_stretch_is_cut_between_its_systems():
    view = PageView(file_id="f", number=1, systems=((0.1, 0.3), (0.3, 0.5), (0.6, 0.8)))
    bands = view.bands(0.12, 0.82)
    assert [(b.top, b.bottom) for b in bands] == [(0.12, 0.3), (0.3, 0.55), (0.55, 0.82)]
    assert [(b.top, b.bottom) for b in view.bands(0.0, 0.05)] == [(0.0, 0.05)]
