"""A take played on a MIDI keyboard, from the page to the verdict.

No keyboard can be plugged in here: an object with Web MIDI's own interface (W3C, Web MIDI API)
gives real message bytes at chosen moments. Everything after it is the real thing.
"""

import itertools

import mido
import pytest
from stand import AIR, BPM, Stand, laid_out, plan_today, show_more, slot

from coldtake.domain.take import Answer
from coldtake.listening import worker_client
from coldtake.listening.keyboard.midi_take import keys_of

pytestmark = pytest.mark.browser

KEYBOARD = """() => {
  const input = { id: "k1", name: "Stage piano", state: "connected", onmidimessage: null };
  const access = { inputs: new Map([["k1", input]]), outputs: new Map(), onstatechange: null };
  navigator.requestMIDIAccess = async () => access;
  const send = (at, ...bytes) =>
    input.onmidimessage?.({ timeStamp: at, data: Uint8Array.from(bytes) });
  window.playOn = (notes, beatMs, leadMs) => {
    const start = performance.now() + leadMs;
    let beat = 0;
    for (const [pitch, beats] of notes) {
      const on = start + beat * beatMs;
      const off = on + 0.8 * beats * beatMs;
      setTimeout(() => send(on, 0x90, pitch, 80), on - performance.now());
      setTimeout(() => send(off, 0x90, pitch, 0), off - performance.now());
      beat += beats;
    }
  };
}"""


def at_the_keyboard(open_page, served) -> Stand:
    steps = laid_out(served.services)
    plan_today(served.services, [slot(steps["air"], 6), slot(steps["own"], 5)])
    page = open_page()
    page.add_init_script(f"({KEYBOARD})()")
    stand = Stand(page, served.url).open().begin()
    show_more(page)
    page.click("#sound-drawer summary")
    page.wait_for_selector("#sound-drawer option[value='midi:']", state="attached")
    page.select_option("#sound-drawer select", value="midi:")
    page.wait_for_selector("#sound-drawer option[value='midi:k1']", state="attached")
    page.wait_for_selector("#sound-drawer >> text=Keyboard ready")
    page.keyboard.press("Escape")
    return stand


def play(stand: Stand, notes) -> None:
    """Take, count-in, and the notes from where the music is expected on."""
    stand.page.click("#take")
    stand.page.wait_for_function("() => document.body?.dataset.take === 'playing'")
    stand.page.evaluate("(a) => window.playOn(...a)", [notes, 60_000 / BPM, 60])


def test_a_take_on_a_keyboard_is_exact_and_judged(open_page, served):
    stand = at_the_keyboard(open_page, served)
    play(stand, AIR)
    assert stand.waits_for("yes", "Yes") in ("yes", "Yes")
    stand.sent()
    (take,) = served.services.state().takes.values()
    assert take.source == "midi"
    midi = keys_of(served.services.takes.sound(take.id).read_bytes())
    assert midi is not None
    (path := served.services.takes.sound(take.id).with_name("take.mid")).write_bytes(midi)
    file = mido.MidiFile(path)
    pressed, now = [], 0.0
    for message in file:
        now += message.time
        if message.type == "note_on" and message.velocity:
            pressed.append((now, message.note))
    assert [p for _, p in pressed] == [p for p, _ in AIR]
    gaps = [b[0] - a[0] for a, b in itertools.pairwise(pressed)]
    wanted = [beats * 60 / BPM for _, beats in AIR[:-1]]
    assert gaps == pytest.approx(wanted, abs=0.00025), "to a tenth of a millisecond each"
    path.unlink()
    wrong = [(p + (k == 2), b) for k, (p, b) in enumerate(AIR)]
    play(stand, wrong)
    assert stand.waits_for("no", "No") in ("no", "No")
    stand.sent()
    last = max(served.services.state().takes.values(), key=lambda t: t.at)
    verdict = served.services.takes.get(last.id).verdict
    assert verdict.answer is Answer.NO
    assert [n.status for n in verdict.notes].count("wrong") == 1


def test_no_midi_is_said(open_page, served):
    steps = laid_out(served.services)
    plan_today(served.services, [slot(steps["air"], 6), slot(steps["own"], 5)])
    page = open_page()
    page.add_init_script("navigator.requestMIDIAccess = async () => ({ inputs: new Map() })")
    Stand(page, served.url).open().begin()
    show_more(page)
    page.click("#sound-drawer summary")
    page.wait_for_selector("#sound-drawer option[value='midi:']", state="attached")
    page.select_option("#sound-drawer select", value="midi:")
    page.wait_for_selector("#sound-drawer >> text=No MIDI keyboard is connected")


def test_a_judging_that_failed_is_said_and_tried_again(open_page, served, monkeypatch):
    stand = at_the_keyboard(open_page, served)
    with monkeypatch.context() as patch:
        patch.setattr(worker_client, "judge", lambda *_, **__: 1 / 0)
        play(stand, AIR)
        assert stand.waits_for("Not judged", "Yes") == "Not judged"
        told = stand.page.inner_text("#told")
        assert "Judging failed because of an internal error. The recording is saved." in told
        assert "Answer yourself" in told
        stand.sent()
        (take,) = served.services.state().takes.values()
        assert take.failed
    stand.page.click("#told-more >> text=Try again")
    assert stand.waits_for("yes", "Yes") in ("yes", "Yes")
    assert served.services.takes.get(take.id).verdict.answer is Answer.YES
