"""The page of an improvised take, and what is asked for it, on a laptop and a phone."""

import io

import numpy as np
import pytest
import soundfile

from coldtake.domain.criterion import ChangesTest, Criterion
from coldtake.domain.take import ClickTrack, NewTake
from coldtake.domain.topic import Exercise, PassageRef, Step
from coldtake.music.playback.sounding import SoundedNote
from coldtake.music.playback.synth import render

RATE, BPM = 22050, 120.0
BEAT_S = 60.0 / BPM
# Eight bars of invented changes, some with two chords; the player reads B-flat.
CHANGES = (
    "X:1\nT:Eight bars\nM:4/4\nL:1/2\nQ:1/4=120\nK:C\n"
    '"Dm7"D2|"G7b9"G2|"Cmaj7"C2|"F#m7b5"F"B7"B|"Em7"E2|"Eb7"_E2|"Dm7"D"G7"G|"C6"C2|]\n'
)
LINE = (62, 65, 69, 72, 71, 69, 67, 65, 71, 74, 77, 74, 61, 69, 67, 65, 64, 67, 71, 72, 74, 72,
        71, 67, 66, 69, 72, 76, 75, 73, 71, 69, 67, 71, 74, 71, None, None, None, None, 67, 70,
        73, 75, 74, 73, 70, 68, 65, 69, 72, 69, 71, 74, 77, 74, 76, 72, 67, 64, 61, 66, 60,
        60)  # fmt: skip


def played() -> bytes:
    notes = tuple(
        SoundedNote(str(k), 0.6 + k * BEAT_S / 2, 0.45 * BEAT_S, p)
        for k, p in enumerate(LINE)
        if p is not None
    )
    sound = np.concatenate([render(notes, rate=RATE, voice="clarinet"), np.zeros(RATE)])
    out = io.BytesIO()
    soundfile.write(out, sound, RATE, format="WAV")
    return out.getvalue()


@pytest.fixture
def take_page(served):
    """A judged take over the changes; its address, and the step's."""
    services = served.services
    stored = services.pile.keep_passage(CHANGES.encode(), "changes.abc")
    topic = services.pile.add("Eight bars")
    step = Step(
        id=services.log.new_id(),
        topic_id=topic.id,
        title="One chorus",
        criterion=Criterion(tests=(ChangesTest(arrivals_percent=50, strong_beats_percent=50),)),
        exercise=Exercise(passage=PassageRef(passage_id=stored.id), tempo_bpm=BPM),
    )
    services.pile.keep_step(step)
    click = ClickTrack(first_s=0.5 - 4 * BEAT_S, every_s=BEAT_S, music_s=0.5, per_bar=4)
    take = services.takes.keep(played(), NewTake(step_id=step.id, click=click, click_bpm=BPM))
    services.takes.judge(take.id)
    return f"{served.url}/takes/{take.id}", f"{served.url}/steps/{step.id}"


@pytest.mark.parametrize(("width", "dark"), [(1280, False), (390, True)])
def test_each_chord_is_drawn_and_can_be_played(open_page, take_page, width, dark):
    page = open_page(width=width, height=844, dark=dark)
    page.goto(take_page[0])
    chart = page.locator(f"#chords-{'wide' if width > 640 else 'narrow'}")
    assert chart.is_visible()
    assert chart.locator("g[data-seek]").count() == 10
    assert page.locator("#chords-table tbody tr").count() == 10
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    page.locator("#chords-table tbody tr").nth(4).get_by_role("button").click()
    page.wait_for_function("document.getElementById('sound').currentTime > 6.5")


@pytest.mark.parametrize("width", [1280, 390])
def test_changes_are_asked_by_keyboard(open_page, take_page, width):
    page = open_page(width=width, height=844)
    page.goto(take_page[1])
    page.locator("#ask > summary").press("Enter")
    field = page.get_by_label("longest silence in beats")
    field.fill("5")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    field.press("Enter")
    page.get_by_text("no silence longer than 5 beats").first.wait_for()
