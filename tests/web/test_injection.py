"""Names and notes stay text: in pages, on paper, in images, in tables."""

import csv
import io
import json
import re
import xml.etree.ElementTree as ET
from datetime import timedelta
from html.parser import HTMLParser

import pytest

from coldtake.domain.criterion import Criterion, NotesTest, OwnQuestionTest
from coldtake.domain.performance import RunPart
from coldtake.domain.take import Answer
from coldtake.domain.topic import Exercise, PassageRef, Place
from coldtake.practice.archive.tables import tables_of

EVIL = "\"'><evil-tag onload=alert(1)></title></script><script>evil()</script>{{7*7}}"
ABC = f'X:1\nT:{EVIL}\nC:{EVIL}\nM:4/4\nL:1/4\nK:C\n"{EVIL.replace(chr(34), "")}"CDEF|GFED|C4|\n'
TAG = "&lt;evil-tag onload=1&gt;&lt;script&gt;evil()&lt;/script&gt;"
MUSICXML = f"""<score-partwise version="4.0"><work><work-title>{TAG}</work-title></work>
<credit page="1"><credit-words>{TAG}</credit-words></credit>
<part-list><score-part id="P1"><part-name>{TAG}</part-name></score-part></part-list>
<part id="P1"><measure number="&quot;&gt;{TAG}"><attributes><divisions>1</divisions>
<time><beats>4</beats><beat-type>4</beat-type></time></attributes>
<direction><direction-type><words>{TAG}</words></direction-type></direction><note>
<pitch><step>C</step><octave>4</octave></pitch><duration>4</duration><type>whole</type>
<lyric><text>{TAG}</text></lyric></note></measure></part></score-partwise>"""


class Tags(HTMLParser):
    """What a browser would make of a page."""

    def __init__(self):
        super().__init__()
        self.evil, self.inline, self.inside = [], [], ""

    def handle_starttag(self, tag, attributes):
        named = dict(attributes)
        if tag == "evil-tag" or any(n.startswith("on") or n == "style" for n in named):
            self.evil.append((tag, attributes))
        for name in ("href", "src", "action", "hx-post", "hx-get"):
            if (named.get(name) or "").strip().lower().startswith(("javascript:", "data:text")):
                self.evil.append((tag, attributes))
        self.inside = tag if tag == "script" and "src" not in named else ""

    def handle_data(self, data):
        if self.inside and data.strip():
            self.inline.append(data)


@pytest.fixture
def hostile(services, desk):
    """Everything that can be named is named badly."""
    topic = services.pile.add(EVIL, place=Place.CURRENT, notes=f"{EVIL}\n{EVIL}")
    one = services.pile.keep_passage(ABC.encode(), f"{EVIL}.abc")
    services.pile.keep_passage(MUSICXML.encode(), "evil.musicxml")
    asked = Criterion(tests=(NotesTest(), OwnQuestionTest(question=EVIL)))
    exercise = Exercise(passage=PassageRef(passage_id=one.id), words=EVIL, key=EVIL[:20])
    step = desk.step(topic, EVIL, criterion=asked, exercise=exercise)
    hostile_stage(services, step)
    return step


def hostile_stage(services, step):
    """A performance with a run-through told, one begun, and the day itself told."""
    doors = services.performances
    on = services.today()
    stage = doors.add(EVIL, on, place=EVIL, programme=[step.topic_id])
    part = RunPart(topic_id=step.topic_id, answer=Answer.NO, broke=(step.id,), words=EVIL)
    for _ in range(2):
        run = doors.begin([step.topic_id], performance_id=stage.id, intention=EVIL)
    doors.tell(run.id, [part], words=EVIL)
    doors.tell_stage(stage.id, [part], words=EVIL)
    doors.take_back(doors.add(EVIL, on, place=EVIL).id)


def pages(services, step) -> list[str]:
    tomorrow = services.today() + timedelta(days=1)
    return [
        "/",
        f"/topics/{step.topic_id}",
        f"/topics/{step.topic_id}/proposal",
        f"/steps/{step.id}",
        "/tomorrow",
        f"/tomorrow?day={tomorrow}",
        f"/tomorrow/print?day={tomorrow}",
        "/progress",
        "/outlook",
        "/what-if",
        f"/what-if/numbers?leave={step.topic_id}",
        "/triage",
        "/session",
        "/performances",
        *(f"/performances/{p}" for p in services.state().performances),
        *(f"/performances/{p}/readiness" for p in services.state().performances),
        *(f"/performances/{p}/after" for p in services.state().performances),
        *(f"/run-through?performance={p}" for p in services.state().performances),
        *(f"/run-through/{r}" for r in services.state().runs),
        *(f"/run-through/{r}/end" for r in services.state().runs),
        f"/performances/{EVIL}",
        f"/run-through/{EVIL}",
        f"/topics/{EVIL}",
        f"/steps/{EVIL}",
    ]


def test_no_page_holds_what_was_written_as_markup(client, services, hostile):
    day = services.today() + timedelta(days=1)
    asked = services.plans.default_request(day)
    services.plans.propose(asked)
    named = set()
    for path in pages(services, hostile):
        page = client.get(path)
        assert page.status_code in (200, 404), path
        tags = Tags()
        tags.feed(page.text)
        assert tags.evil == [], path
        assert tags.inline == [], path
        assert "49" not in re.findall(r"script&gt;(\d+)", page.text), path
        named |= {path.partition("?")[0]} if "&lt;evil-tag" in page.text else set()
    assert {"/", "/tomorrow", "/tomorrow/print", f"/steps/{hostile.id}"} <= named


def test_no_image_holds_it_either(client, services, hostile):
    for passage_id in services.state().passages:
        drawn = client.get(f"/passages/{passage_id}.svg")
        assert drawn.headers["Content-Type"].startswith("image/svg+xml")
        assert drawn.headers["X-Content-Type-Options"] == "nosniff"
        for element in ET.fromstring(drawn.text).iter():
            kind = element.tag.rpartition("}")[2]
            assert kind not in ("evil-tag", "script", "foreignObject", "style")
            assert not [n for n in element.attrib if n.startswith("on")]


def test_an_error_page_repeats_nothing_as_markup(client, services, hostile):
    answers = [
        client.post(f"/topics/{hostile.topic_id}", data={"title": "x", "importance": EVIL}),
        client.post("/settings", data={EVIL: EVIL}),
        client.post(f"/steps/{hostile.id}/takes", files={"sound": (f"{EVIL}.wav", b"no sound")}),
        client.get("/tomorrow", params={"day": EVIL}),
    ]
    for answer in answers:
        assert answer.status_code in (200, 404, 422)
        tags = Tags()
        tags.feed(answer.text)
        assert (tags.evil, tags.inline) == ([], [])


def test_the_session_page_gets_it_as_json_that_no_browser_takes_for_a_page(client, hostile):
    answer = client.get("/api/session")
    assert answer.headers["Content-Type"] == "application/json"
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    json.loads(answer.text)


@pytest.mark.parametrize(
    "title",
    [
        '=HYPERLINK("http://x")', "+1+cmd|' /C calc'!A0", "-2+3", "@SUM(1)", "\t=1", "\r=1", "\n=1",
        "\uff1d1+1", "\uff0b1",
    ],
)  # fmt: skip
def test_no_cell_of_a_table_is_a_formula(services, desk, title):
    desk.step(desk.topic("A topic"), title)
    for text in tables_of(services.state()).values():
        for row in csv.reader(io.StringIO(text)):
            for cell in row:
                assert not cell.startswith(("=", "+", "@", "\t", "\r", "\n", "\uff1d", "\uff0b"))
                assert not re.match(r"-\D", cell)
                assert not cell.startswith("-2+")
