"""The level check before the first take, over good and bad microphones; and when it records.

The microphone is a WAV that Chromium plays from the moment the page opens it.
"""

import re

import numpy as np
import pytest
import soundfile as sf
from stand import RATE, Stand, laid_out, plan_today, show_more, slot

pytestmark = pytest.mark.browser

LENGTH_S = 90
RNG = np.random.default_rng(5)


def room(level: float) -> np.ndarray:
    return level * RNG.standard_normal(LENGTH_S * RATE)


def playing(level: float) -> np.ndarray:
    """A held D above a room: silence, three seconds of tone, silence, and so on."""
    t = np.arange(LENGTH_S * RATE) / RATE
    return level * np.sqrt(2) * np.sin(2 * np.pi * 293.7 * t) * ((t % 5) > 2)


def hum(hz: float) -> np.ndarray:
    t = np.arange(LENGTH_S * RATE) / RATE
    return 0.004 * sum(a * np.sin(2 * np.pi * n * hz * t) for n, a in ((1, 1), (2, 0.7), (3, 0.5)))


SOUNDS = {
    "Too quiet. Move the microphone closer.": lambda: room(1e-4) + playing(0.006),
    "Too loud for the microphone": lambda: np.clip(room(3e-4) + playing(2.0), -1, 1),
    "There is mains hum at 50 Hz": lambda: room(3e-4) + hum(50.0),
}
STORED = """async () => {
  const open = indexedDB.open("coldtake-session");
  const db = await new Promise((done) => (open.onsuccess = () => done(open.result)));
  const count = await new Promise((done) => {
    const all = db.transaction("batches").objectStore("batches").count();
    all.onsuccess = () => done(all.result);
  });
  db.close();
  return count;
}"""


def at_the_stand(hearing, served, tmp_path, sound) -> Stand:
    steps = laid_out(served.services)
    plan_today(served.services, [slot(steps["air"], 6), slot(steps["own"], 5)])
    path = tmp_path / "microphone.wav"
    sf.write(path, sound, RATE, subtype="PCM_16")
    page = hearing(path).new_page()
    return Stand(page, served.url).open().begin()


def says(page, words: str) -> None:
    page.wait_for_function(
        "(words) => { const node = document.querySelector('.sound-check');"
        " return !node.hidden && node.textContent.startsWith(words); }",
        arg=words,
    )


@pytest.mark.parametrize("words", SOUNDS)
def test_one_sentence_about_the_microphone(hearing, served, tmp_path, words):
    stand = at_the_stand(hearing, served, tmp_path, SOUNDS[words]())
    says(stand.page, words)


def test_nothing_is_recorded_outside_a_take_and_the_page_says_when_it_records(
    hearing, served, tmp_path
):
    stand = at_the_stand(hearing, served, tmp_path, room(3e-4) + playing(0.1))
    page = stand.page
    says(page, "The level is right.")
    assert page.evaluate(STORED) == 0
    assert page.get_attribute("body", "data-recording") == "false"
    show_more(page)
    page.click("#sound-drawer summary")
    page.wait_for_selector("#sound-drawer .large >> text=The level is right.")
    names = page.eval_on_selector_all("#sound-drawer option", "all => all.map(o => o.textContent)")
    names = [name for name in names if "MIDI" not in name]
    assert len(names) > 1
    page.select_option("#sound-drawer select", label=names[-1])
    page.wait_for_function("() => document.querySelector('#sound-drawer select').value")
    page.keyboard.press("Escape")
    assert not page.is_visible("#sound-drawer select")
    page.click("#take")
    page.wait_for_function("() => document.body?.dataset.recording === 'true'")
    page.wait_for_selector("text=Recording")
    assert page.is_hidden(".sound-check")
    assert page.is_hidden("#tuner-drawer")
    page.click("#take")
    page.wait_for_function("() => document.body?.dataset.recording === 'false'")
    stand.open()
    page.wait_for_function("() => document.body?.dataset.ready === 'yes'")
    kept = page.evaluate("""async () => {
      const { openStore } = await import("/static/session/keeping/store.js");
      return (await openStore()).recall("microphone");
    }""")
    assert kept["label"] == names[-1], "the device is remembered"


def test_no_decibels_a_without_a_calibration_and_the_microphone_is_let_go_at_the_end(
    hearing, served, tmp_path, axe
):
    stand = at_the_stand(hearing, served, tmp_path, room(3e-3))
    page = stand.page
    says(page, "Play your loudest bar")
    show_more(page)
    page.click("#ears-drawer summary")
    page.wait_for_selector("#ears-drawer >> text=dB below the microphone’s maximum")
    assert not re.search(r"\d dB\(A\) now", page.inner_text("#ears-drawer"))
    assert "If anything hurts, stop" in page.inner_text("#ears-drawer")
    page.fill("#ears-drawer input", "62")
    page.wait_for_timeout(6000)  # five seconds of steady sound are listened to
    page.click("text=Calibrate")
    page.wait_for_selector("#ears-drawer >> text=/6[123] dB.A. now/")
    assert "less than 1%" in page.inner_text("#ears-drawer")
    assert axe(page) == []
    show_more(page)
    page.click("#tuner-drawer summary")
    page.wait_for_selector("#tuner-drawer >> text=Start drone")
    assert axe(page) == []
    page.keyboard.press("Escape")
    page.evaluate("""() => {
      const stop = MediaStreamTrack.prototype.stop;
      MediaStreamTrack.prototype.stop = function () {
        document.body.dataset.stopped = this.kind;
        stop.call(this);
      };
    }""")
    stand.press("e", "Enter").sees("end")
    page.wait_for_function("() => document.body?.dataset.stopped === 'audio'")
