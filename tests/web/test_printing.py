"""Printed pages, looked at: sizes measured on the paper, words found on it, papers as they are."""

import re
import subprocess
from datetime import timedelta

import numpy as np
import pytest
from desk import AIR, fault_of
from PIL import Image

from coldtake.domain.topic import Exercise, PassageRef
from coldtake.web.printing.pdf import as_pdf
from coldtake.web.printing.sheets import (
    LEAST_TEXT_PT,
    STAVE_MM,
    SYSTEM_STAVE_MM,
    Sheet,
    SheetPart,
    unbroken,
)

DPI = 200
MM = DPI / 25.4
PIANO = """X:1
T:Two staves
M:4/4
L:1/4
K:C
%%score {1 | 2}
V:1
CDEF|GFED|C4|]
V:2 clef=bass
C,4|G,4|C,4|]
"""


@pytest.fixture
def planned(services, desk):
    desk.laid_out()
    day = services.today() + timedelta(days=1)
    services.plans.propose(services.plans.default_request(day))
    return day


def told_of(pdf, tmp_path):
    path = tmp_path / "out.pdf"
    path.write_bytes(pdf)
    info = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
    text = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, text=True)
    return path, info, re.sub(r"\s+", " ", text.stdout)


def picture(path, tmp_path, page=1):
    command = ["pdftoppm", "-r", str(DPI), "-f", str(page), "-l", str(page), "-gray", "-png"]
    subprocess.run([*command, path, tmp_path / "page"], check=True)
    [found] = sorted(tmp_path.glob("page-*.png"))
    return np.asarray(Image.open(found))


def stave_heights_mm(image):
    """Heights of five evenly spaced long dark lines, wherever they stand on a page."""
    dark = (image < 128).mean(axis=1)
    rows = np.nonzero(dark > 0.3)[0]
    lines = [g.mean() for g in np.split(rows, np.nonzero(np.diff(rows) > 2)[0] + 1)]
    found = []
    for five in (lines[i : i + 5] for i in range(len(lines) - 4)):
        gaps = np.diff(five)
        if gaps.max() < 4 * MM and gaps.max() - gaps.min() < 0.3 * MM:
            found.append((five[-1] - five[0]) / MM)
    return found


@pytest.mark.parametrize(("paper", "points"), [("A4", (595.3, 841.9)), ("letter", (612.0, 792.0))])
def test_a_plan_on_paper_can_be_read_at_arms_length(
    client, planned, services, paper, points, tmp_path
):
    answer = client.get(f"/print.pdf?plan={planned}&paper={paper}")
    assert answer.headers["content-type"] == "application/pdf"
    path, info, text = told_of(answer.content, tmp_path)
    width, height = map(float, re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", info).groups())
    # 210 x 297 mm (ISO 216) and 8.5 x 11 in, in points of 1/72 in
    assert (width, height) == pytest.approx(points, abs=0.5)
    plan = services.plans.plan(planned)
    for slot in plan.slots:
        assert services.state().steps[slot.step_id].title in text
    assert all(f"{p.minutes}" in text for p in plan.slots)
    heights = stave_heights_mm(picture(path, tmp_path))
    assert heights
    assert all(h == pytest.approx(STAVE_MM, abs=0.2) for h in heights)
    assert text_sizes(path) >= LEAST_TEXT_PT - 0.05


def text_sizes(path):
    """Smallest size of words on the page, in points (bounding boxes hold ascent and descent)."""
    xml = subprocess.run(
        ["pdftohtml", "-xml", "-stdout", "-i", path], capture_output=True, text=True, check=True
    ).stdout
    zoom = 1.5  # pdftohtml draws at 108 dots an inch
    sizes = {float(s) for s in re.findall(r'<fontspec id="\d+" size="([\d.]+)"', xml)}
    return (min(sizes) + 1) / zoom  # it cuts the size to a whole number


def test_exercises_of_a_topic_with_two_staves(client, services, desk, tmp_path):
    topic = desk.topic("Left and right")
    kept = services.pile.keep_passage(PIANO.encode(), "piano.abc").id
    step = desk.step(topic, "Together", exercise=Exercise(passage=PassageRef(passage_id=kept)))
    other = desk.step(topic, "In words only")
    query = f"steps={step.id}&steps={other.id}&paper=A4"
    path, info, text = told_of(client.get(f"/print.pdf?{query}").content, tmp_path)
    assert re.search(r"Pages:\s+1\b", info)
    assert all(w in text for w in ("Left and right", "2 exercises", "Together", "In words only"))
    heights = stave_heights_mm(picture(path, tmp_path))
    assert len(heights) == 2
    assert all(h == pytest.approx(SYSTEM_STAVE_MM, abs=0.2) for h in heights)
    chooser = client.get(f"/print?topic={topic.id}").text
    assert len(re.findall(r'name="steps"[^>]* checked', chooser)) == 2


def test_long_music_flows_over_pages_and_short_music_is_not_parted(services, tmp_path):
    from coldtake.music.notation.engraving.engraver import engrave_lines
    from coldtake.music.notation.reading.reader import read_passage

    long = read_passage(AIR.replace("CDEF|", "CDEF|" * 70), "abc")
    short = read_passage(AIR, "abc")
    lines = engrave_lines(long, width_px=1700)
    assert len(lines) > 8
    parts = [SheetPart("Long", lines=lines)]
    parts += [
        SheetPart(f"Short {n}", lines=engrave_lines(short, width_px=1700) * 3) for n in range(6)
    ]
    pdf = as_pdf(Sheet("All", "", tuple(parts)), "A4")
    path, info, text = told_of(pdf, tmp_path)
    assert int(re.search(r"Pages:\s+(\d+)", info)[1]) >= 3
    assert "1 of" in text
    for page in range(1, 5):
        on = subprocess.run(
            ["pdftotext", "-f", str(page), "-l", str(page), path, "-"],
            capture_output=True,
            text=True,
        ).stdout
        assert not re.search(r"(Short \d)\s*\n\s*All\s*\n", on), "a heading alone at the foot"


def test_titles_are_never_markup(tmp_path):
    nasty = '#panic("x") *bold* $x$ <b> [a] \\ "quoted" @ref ~ _under_'
    pdf = as_pdf(Sheet(nasty, nasty, (SheetPart(nasty, nasty, "17:00", 5, question=nasty),)), "A4")
    _path, _info, text = told_of(pdf, tmp_path)
    assert text.count('#panic("x") *bold*') >= 3


def test_units_stay_with_their_numbers():
    assert (
        unbroken("within 10 %, 100 ms and 5 minutes") == "within 10\xa0%, 100\xa0ms and 5 minutes"
    )


@pytest.mark.parametrize(
    ("query", "status", "said"),
    [
        ("", 422, "No exercise is selected"),
        ("plan=soon", 422, "is not a date"),
        ("plan=2001-01-01", 404, "There is no plan"),
        ("steps=none", 404, "This step was not found"),
        ("steps=none&paper=A0", 422, "is not a paper size"),
    ],
)
def test_what_cannot_be_printed_is_said(client, query, status, said):
    answer = client.get(f"/print.pdf?{query}")
    assert answer.status_code == status
    assert said in fault_of(answer)
