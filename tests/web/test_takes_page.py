"""All takes in a list, and two of them side by side at the same bar and equally loud."""

import io
import json
import math
import re
from dataclasses import replace
from html import unescape

import numpy as np
import pytest
import soundfile
from desk import AIR, words

from coldtake.domain.take import Judge
from coldtake.domain.topic import Place
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.playback.sounding import schedule
from coldtake.music.playback.synth import render
from coldtake.web.views.take_list import volumes
from coldtake.web.views.waveform import level

RATE = 22050
SOFT = 0.25  # 12 dB under the other


def played(bpm, *, lead_s=0.5, gain=1.0, one_wrong=False) -> bytes:
    notes = list(schedule(read_passage(AIR, "abc"), bpm))
    if one_wrong:
        notes[4] = replace(notes[4], pitch=notes[4].pitch + 1)
    sound = gain * render(tuple(notes), rate=RATE, voice="clarinet")
    quiet = np.zeros(round(RATE * lead_s), dtype=np.float32)
    out = io.BytesIO()
    soundfile.write(out, np.concatenate([quiet, sound, quiet]), RATE, format="WAV")
    return out.getvalue()


@pytest.fixture
def step(desk):
    return desk.step(desk.topic(place=Place.CURRENT), passage=True)


@pytest.fixture
def two(client, services, step):
    """A clean cold take at 96, and a soft warm one at 80 with a wrong note."""
    takes = []
    for data, cold in (
        (played(96), "yes"),
        (played(80, lead_s=1, gain=SOFT, one_wrong=True), "no"),
    ):
        sound = {"sound": ("take.wav", data)}
        answer = client.post(f"/steps/{step.id}/takes", files=sound, data={"cold": cold})
        takes.append(str(answer.url).rsplit("/", 1)[-1])
    return takes


def test_the_list_is_by_topic_and_answer(client, services, two, desk):
    first, second = two
    page = client.get("/takes").text
    assert re.findall(r'href="/takes/(?!compare)([\w-]+)"', page) == [second, first]
    assert page.count("<audio") == 2
    assert "2 takes" in words(page)
    assert f'/takes/compare?a={first}&amp;b={second}"' in page
    assert f'href="/takes/{second}"' in client.get("/takes?answer=no").text
    assert f'href="/takes/{first}"' not in client.get("/takes?answer=no").text
    assert f'href="/takes/{second}"' not in client.get("/takes?cold=1").text
    other = desk.topic("Another")
    assert "0 takes" in words(client.get(f"/takes?topic={other.id}").text)
    assert client.get("/takes?topic=nothing").status_code == 404
    assert client.get("/takes?answer=perhaps").status_code == 422


def test_what_the_player_said_counts_in_the_list(client, services, two):
    first, _ = two
    client.post(f"/takes/{first}/answer", data={"answer": "no"})
    assert services.state().tries[first].judge is Judge.PLAYER
    assert f'href="/takes/{first}"' in client.get("/takes?answer=no").text
    assert f'href="/takes/{first}"' not in client.get("/takes?answer=yes").text


def test_the_same_bar_is_found_in_both(client, services, two):
    first, second = two
    page = client.get(f"/takes/compare?a={first}&b={second}").text
    anchors = json.loads(unescape(re.search(r'data-anchors="([^"]*)"', page)[1]))
    assert len(anchors) >= 9
    passage = read_passage(AIR, "abc")
    for note, (a, b) in zip(passage.notes, anchors, strict=True):
        assert math.isclose(a, 0.5 + note.onset_beats * 60 / 96, abs_tol=0.04)
        assert math.isclose(b, 1.0 + note.onset_beats * 60 / 80, abs_tol=0.04)
    bars = [json.loads(unescape(b)) for b in re.findall(r'data-at="([^"]*)"', page)]
    assert len(bars) == len(passage.bars)
    assert bars[0] == pytest.approx([0.5, 1.0], abs=0.04)


def test_both_are_equally_loud(client, two):
    first, second = two
    page = client.get(f"/takes/compare?a={first}&b={second}").text
    loud, soft = (float(v) for v in re.findall(r'data-volume="([^"]+)"', page))
    assert soft == 1.0
    assert abs(20 * math.log10(loud / SOFT)) < 0.7


def test_a_take_leads_to_the_others_of_its_step(client, two):
    first, second = two
    page = client.get(f"/takes/{first}").text
    assert f'<option value="{second}">' in page
    assert client.get(f"/takes/compare?a={first}&b={first}").status_code == 422
    assert client.get(f"/takes/compare?a={first}&b=gone").status_code == 404


def test_without_common_notation_each_plays_alone(client, services, desk, two):
    other = desk.step(desk.topic("Another"), passage=False)
    sound = {"sound": ("take.wav", played(96))}
    answer = client.post(f"/steps/{other.id}/takes", files=sound, data={"cold": "yes"})
    page = client.get(f"/takes/compare?a={two[0]}&b={str(answer.url).rsplit('/', 1)[-1]}")
    assert page.status_code == 200
    assert "no bars in common" in words(page.text)
    assert page.text.count("<audio") == 2


def test_loudness_leaves_out_what_is_silent():
    tone = [0.5] * 10
    assert level([-x for x in tone], tone) == pytest.approx(0.5)
    with_silence = [*tone, *[0.001] * 90]
    assert level([-x for x in with_silence], with_silence) == pytest.approx(0.5)
    assert level([], []) == 0.0
    assert volumes((0.5, 0.125)) == (0.25, 1.0)
    assert volumes((0.0, 0.5)) == (1.0, 1.0)
