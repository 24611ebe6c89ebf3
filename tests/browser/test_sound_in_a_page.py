"""The player of a passage, measured in the audio that it renders, and its page.

Offline: the audio thread's own code on a clock that cannot stumble. A note's onset is where sound
rises from nothing, so every measured note is written with silence before it.
"""

import base64
import re

import numpy as np
import pytest
from playwright.sync_api import Page, expect

from coldtake.domain.criterion import default_criterion
from coldtake.domain.topic import Exercise, PassageRef, Place, Step

pytestmark = pytest.mark.browser

RATE = 48_000
LEAD_S = 0.1  # of silence before what is rendered
# Quarters with silence after each; bars 1 and 2 twice. One chord a bar.
DETACHED = """X:1
T:Detached
M:4/4
L:1/8
Q:1/4=96
K:C
|:"C"CzEz Gz z2|"G7"Bz z2 d/z/z Fz:|"C"cz z2 z2 G,z|]
"""
OFFLINE = """async ({score, how, seconds, rate, lead}) => {
  const context = new OfflineAudioContext(1, Math.ceil(rate * seconds), rate);
  await context.audioWorklet.addModule("/static/sound/player-worklet.js");
  const play = {score, how, frame: lead * rate};
  const options = {outputChannelCount: [1], processorOptions: {play}};
  new AudioWorkletNode(context, "coldtake-player", options).connect(context.destination);
  const sound = (await context.startRendering()).getChannelData(0);
  const bytes = new Uint8Array(sound.buffer);
  let text = "";
  for (let i = 0; i < bytes.length; i += 32768)
    text += String.fromCharCode(...bytes.subarray(i, i + 32768));
  return btoa(text);
}"""
# The cursor of the page along a clock of 60 frames a second that begins anywhere between frames;
# tells for every lighting of noteheads when the frame with it would be seen: one frame later.
CURSOR = """async ({score, how, rate, lead, seconds, phase}) => {
  const {Cursor, leadMs} = await import("/static/sound/cursor.js");
  const {Player} = await import("/static/sound/player.js");
  const {Transport} = await import("/static/sound/transport.js");
  const {layOut} = await import("/static/sound/timeline.js");
  const player = new Player();
  player.playing = true;
  player.layout = layOut(score, how);
  const transport = new Transport(rate);
  transport.onSegment = (s) => player.told(s, s && transport.after(s));
  transport.play(score, how, lead * rate);
  const cursor = new Cursor(document.getElementById("sheet"));
  const lit = () => [...document.querySelectorAll("#sheet .sounds")]
    .map((e) => e.getAttribute("data-note")).join(" ");
  const frame = 1 / 60;
  const seen = [];
  let before = "";
  for (let t = phase * frame; t < seconds; t += frame) {
    transport.until(t * rate);
    const place = player.placeAt(t * rate + (leadMs(1000 * frame) / 1000) * rate);
    if (place && place.segment.kind === "play") cursor.show(place.layout, place.beat);
    const now = lit();
    if (now && now !== before) seen.push([t + frame, now]);
    before = now;
  }
  cursor.clear();
  return seen;
}"""
HOW = {
    "bpm": 96,
    "first": 0,
    "last": 4,
    "times": 1,
    "countBars": 0,
    "countEach": False,
    "unit": 1,
    "click": {"beats": [], "every": 1, "sound": 1, "silent": 0},
    "swing": 0.5,
    "ramp": {"every": 0, "to": 0},
    "voice": "struck",
    "levels": {"tune": 1, "click": 0, "drone": 0, "bass": 0, "chords": 0},
    "drone": [],
    "tonic": 0,
    "tuning": "equal",
}


@pytest.fixture(scope="module")
def house(serving, tmp_path_factory):
    with serving(tmp_path_factory.mktemp("sound")) as server:
        pile = server.services.pile
        server.passage = pile.keep_passage(DETACHED.encode(), "detached.abc").id
        topic = pile.add("Detached", place=Place.CURRENT)
        exercise = Exercise(passage=PassageRef(passage_id=server.passage), tempo_bpm=96)
        server.step = pile.keep_step(
            Step(
                id=server.services.log.new_id(),
                topic_id=topic.id,
                title="Short notes",
                criterion=default_criterion(),
                exercise=exercise,
            )
        ).id
        yield server


@pytest.fixture
def desk(house, open_page):
    """The page to hear the passage, ready; at a size and in a light."""

    def build(*size: int, **more) -> Page:
        page = open_page(*size, **more)
        page.goto(f"{house.url}/passages/{house.passage}")
        page.wait_for_function("() => document.body?.dataset.ready === 'yes'")
        return page

    return build


def score_of(page: Page, feel: str = "") -> dict:
    address = page.url + ".json" + (f"?feel={feel}" if feel else "")
    return page.evaluate("async (a) => (await fetch(a)).json()", address)


def rendered(page: Page, score: dict, seconds: float, **how) -> np.ndarray:
    levels = {**HOW["levels"], **how.pop("levels", {})}
    ask = {"score": score, "how": {**HOW, **how, "levels": levels}}
    data = page.evaluate(OFFLINE, {**ask, "seconds": seconds, "rate": RATE, "lead": LEAD_S})
    return np.frombuffer(base64.b64decode(data), dtype="<f4").astype(float)


def onsets_s(sound: np.ndarray, silence_s: float = 0.04) -> np.ndarray:
    """Where sound rises from silence, less the silence before everything."""
    at = np.nonzero(np.abs(sound) > 2e-5)[0]
    return at[np.diff(at, prepend=-RATE) > silence_s * RATE] / RATE - LEAD_S


def line(*notes: tuple[float, float, int], bars: int = 1) -> dict:
    """A score without a page, in bars of four."""
    return {
        "title": "",
        "notes": [
            {"id": str(n), "heads": [], "onset": o, "beats": b, "pitch": p}
            for n, (o, b, p) in enumerate(notes)
        ],
        "bars": [
            {"label": str(n + 1), "measure": str(n), "onset": 4 * n, "beats": 4, "metre": [4, 4]}
            for n in range(bars)
        ],
        "band": [],
        "a4Hz": 442,
        "marks": [60, 63, 66, 69, 72],
        "tunings": {"equal": [0] * 12, "just": [0, 0, 0, 0, -13.6863, 0, 0, 1.955, 0, 0, 0, 0]},
        "tonic": 0,
        "bpm": 60,
        "unit": 1,
    }


def peak_hz(sound: np.ndarray, near_hz: float) -> float:
    """The strongest line within a semitone, between bins by a parabola through the logarithms."""
    size = 8 * sound.size
    spectrum = np.log(np.abs(np.fft.rfft(sound * np.hanning(sound.size), size)) + 1e-12)
    hz = np.fft.rfftfreq(size, 1 / RATE)
    near = np.nonzero((hz > 0.944 * near_hz) & (hz < 1.059 * near_hz))[0]
    top = near[np.argmax(spectrum[near])]
    a, b, c = spectrum[top - 1 : top + 2]
    return float((top + 0.5 * (a - c) / (a - 2 * b + c)) * RATE / size)


def cents(hz: float, ideal: float) -> float:
    return float(1200 * np.log2(hz / ideal))


def a_weight(hz: np.ndarray) -> np.ndarray:
    """A-weighting as a factor, poles of IEC 61672-1:2013, annex E: 20.6, 107.7, 737.9, 12194 Hz."""
    f2 = np.square(hz)
    poles = np.sqrt((f2 + 107.7**2) * (f2 + 737.9**2))
    return 1.2589 * 12194**2 * f2**2 / ((f2 + 20.6**2) * poles * (f2 + 12194**2))


def test_clicks_and_notes_fall_where_the_schedule_says(desk):
    page = desk()
    score = score_of(page, "held")
    beat = 60 / 96
    # as played: bar 1, 2, 1, 2, 3; eighths from the barline
    bar1, bar2, bar3 = (0, 2, 4), (0, 4, 6), (0, 6)
    bars = (bar1, bar2, bar1, bar2, bar3)
    wanted = np.array([4 * n + k / 2 for n, bar in enumerate(bars) for k in bar]) * beat
    for voice in ("struck", "blown"):
        got = onsets_s(rendered(page, score, 14, voice=voice))
        assert got.size == wanted.size
        # the first samples of a half cosine lie below what counts as sound
        assert np.max(np.abs(got - wanted)) < 0.002
    levels = {"tune": 0, "click": 1}
    clicks = onsets_s(rendered(page, score, 14, levels=levels, countBars=1, last=1))
    assert np.max(np.abs(clicks - np.arange(12) * beat)) < 1.5 / RATE


def test_loops_grow_faster_by_marks_and_the_click_keeps_to_its_beats(desk):
    page = desk()
    how = {"bpm": 60, "last": 0, "times": 3, "ramp": {"every": 1, "to": 66}}
    score = line((0, 0.4, 60), (2, 0.4, 64))
    got = onsets_s(rendered(page, score, 13, **how))
    starts = np.array([0, 240 / 60, 240 / 60 + 240 / 63])
    wanted = np.ravel([[s, s + 120 / bpm] for s, bpm in zip(starts, (60, 63, 66), strict=True)])
    assert np.max(np.abs(got - wanted)) < 0.002
    how |= {
        "levels": {"tune": 0, "click": 1},
        "click": {**HOW["click"], "beats": [False, True] * 2},
    }
    clicks = onsets_s(rendered(page, score, 13, **how))
    twos = [[s + 60 / b, s + 180 / b] for s, b in zip(starts, (60, 63, 66), strict=True)]
    assert np.max(np.abs(clicks - np.ravel(twos))) < 1.5 / RATE
    silent = {**how, "ramp": {"every": 0, "to": 0}, "click": {**HOW["click"], "silent": 1}}
    clicks = onsets_s(rendered(page, score, 13, **silent))
    assert np.allclose(clicks, [0, 1, 2, 3, 8, 9, 10, 11], atol=1.5 / RATE)


@pytest.mark.parametrize(("voice", "low"), [("struck", 40), ("blown", 36)])
def test_the_voice_is_in_tune_even_and_without_clicks(desk, voice, low):
    """Levels of notes from low to high, A-weighted, lie within 3 dB; no jump at any edge."""
    page = desk()
    pitches = list(range(low, 97, 4))
    score = line(*((2 * n, 1, p) for n, p in enumerate(pitches)), bars=len(pitches) // 2 + 1)
    sound = rendered(page, score, 2 * len(pitches) + 1, bpm=60, last=len(pitches) // 2, voice=voice)
    levels = []
    for n, pitch in enumerate(pitches):
        start = round((LEAD_S + 2 * n + 0.03) * RATE)
        part = sound[start : start + RATE // 3]
        spectrum = np.abs(np.fft.rfft(part * np.hanning(part.size), 8 * part.size))
        hz = np.fft.rfftfreq(8 * part.size, 1 / RATE)
        levels.append(10 * np.log10(np.sum((spectrum * a_weight(hz)) ** 2)))
        ideal = 442 * 2 ** ((pitch - 69) / 12)
        assert abs(cents(peak_hz(part, ideal), ideal)) < 2
    assert max(levels) - min(levels) < 3
    assert 0.1 < np.max(np.abs(sound)) < 0.9
    # A click is a bend much sharper than any of the smooth wave inside notes.
    bends = np.abs(np.diff(sound, 2))
    for n in range(len(pitches)):
        start = round((LEAD_S + 2 * n) * RATE)
        inside = bends[start + RATE // 50 : start + RATE // 5].max()
        # a struck note is brightest at its very beginning
        assert bends[start - 300 : start + RATE // 50].max() < 2.5 * inside
        assert bends[start + RATE - 300 : start + RATE + RATE // 4].max() < 1.2 * inside


def test_a_drone_is_tuned_as_chosen_and_everything_together_stays_below_full_scale(desk):
    page = desk()
    score = line((0, 4, 64), bars=1)
    tuned = {"drone": [0, 7], "tonic": 0, "bpm": 60, "last": 0, "levels": {"tune": 0, "drone": 1}}
    for tuning, ratio in (("just", 3 / 2), ("equal", 2 ** (7 / 12))):
        sound = rendered(page, score, 4, **tuned, tuning=tuning)
        root = 442 * 2 ** ((48 - 69) / 12)  # C3: the tonic lies in the octave from A2 up
        for wanted in (root, ratio * root):
            assert abs(cents(peak_hz(sound, wanted), wanted)) < 0.5
    band = score_of(page, "walking")
    loud = {"tune": 1, "click": 1, "drone": 1, "bass": 1, "chords": 1}
    sound = rendered(page, band, 8, levels=loud, drone=[0, 7, 12], swing=2 / 3)
    assert 0.2 < np.max(np.abs(sound)) < 1
    assert np.mean(np.abs(sound) > 0.95) < 1e-3


def test_what_is_drawn_and_what_sounds_stay_together(desk):
    """Within 20 ms: onsets measured in the rendered audio, noteheads as they light on the page."""
    page = desk()
    score = score_of(page)
    how = {"bpm": 104, "times": 2, "countBars": 1, "ramp": {"every": 1, "to": 120}}
    sound = onsets_s(rendered(page, score, 26, **how)) + LEAD_S
    heads = [" ".join(n["heads"]) for n in score["notes"]] * 2
    ask = {"score": score, "how": {**HOW, **how}, "rate": RATE, "lead": LEAD_S, "seconds": 26}
    for phase in (0.0, 0.25, 0.5, 0.75):
        seen = page.evaluate(CURSOR, {**ask, "phase": phase})
        assert len(seen) == sound.size == 2 * 14
        assert [name for _, name in seen] == heads
        off_ms = 1000 * (np.array([at for at, _ in seen]) - sound)
        assert np.max(np.abs(off_ms)) < 20


def test_bars_are_chosen_by_pointing_and_by_keys(desk):
    page = desk(1366, 768)
    bars = page.locator(".bar-over")
    expect(bars).to_have_count(3)
    said = page.locator("#bars-said")
    bars.nth(1).click()
    expect(said).to_have_text("Bar 2, first time. Now select the last bar.")
    bars.nth(2).click()
    expect(said).to_contain_text("Bars 2 to 3 with the repeat")
    page.get_by_role("button", name="Bars 2 to 3, second time").click()
    expect(said).to_have_text("Bars 2 to 3, second time")
    assert bars.evaluate_all("(all) => all.map((b) => b.ariaPressed)") == ["false", "true", "true"]
    bars.nth(1).focus()
    for key in ("ArrowLeft", "Enter", "ArrowRight", "Enter"):
        page.keyboard.press(key)
    expect(said).to_have_text("Bars 1 to 2, first time")
    page.keyboard.press("Escape")
    expect(said).to_have_text("All bars")


def test_the_steps_fields_take_the_bars_that_are_touched(house, open_page):
    page = open_page(390, 844, has_touch=True)
    page.goto(f"{house.url}/steps/{house.step}")
    page.get_by_text("Edit bars, tempo, key, click").tap()
    bars = page.locator(".bar-over")
    expect(bars).to_have_count(3)
    bars.nth(1).tap()
    bars.nth(2).tap()
    page.get_by_role("button", name="Bars 2 to 3, second time").tap()
    fields = [page.locator(f"[name={name}_bar]") for name in ("first", "last")]
    assert [f.input_value() for f in fields] == ["4", "5"]
    fields[0].fill("5")
    fields[0].blur()
    expect(page.locator("[data-said]")).to_have_text("Bar 3")
    page.get_by_role("button", name="Save").first.click()
    page.wait_for_function("() => document.getElementById('said').textContent === 'Saved.'")
    kept = house.services.pile.step(house.step).exercise.passage
    assert (kept.first_bar, kept.last_bar) == (5, 5)


def test_it_plays_follows_and_ends(desk):
    page = desk(1366, 768)
    page.locator("#count-in").fill("0")
    page.locator("#times").fill("1")
    page.locator("#tempo").fill("240")
    page.locator("#feel").select_option("even")
    page.locator("h1").click()
    page.keyboard.press("Space")
    expect(page.locator("#play")).to_have_text("Stop")
    page.wait_for_selector("#sheet .sounds")
    expect(page.locator("#now-said")).to_have_text(re.compile("Repeat 1 of 1 at 240"))
    expect(page.locator("#play")).to_have_text("Play")
    expect(page.locator("#sheet .sounds")).to_have_count(0)


SIZES = ((390, 844, True), (820, 1180, False), (1366, 768, True))


@pytest.mark.parametrize("path", ["/passages/{passage}", "/changes?text=C+|+G7", "/slow", "/print"])
def test_pages_have_no_fault_and_no_sideways_scroll(house, open_page, axe, path):
    for width, height, dark in SIZES:
        page = open_page(width, height, dark=dark)
        page.goto(house.url + path.format(passage=house.passage))
        if path != "/print":
            page.wait_for_function("() => document.body?.dataset.ready === 'yes'")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), width
        assert axe(page) == []


LOOP = """async ({a, b, speed}) => {
  const {Slow} = await import("/static/sound/slow.js");
  const audio = new Audio();
  const slow = new Slow(audio);
  slow.file = await (await fetch("%s")).blob();
  slow.speed = speed;
  const buffer = await slow.stretched({from: a, to: b});
  const some = buffer.getChannelData(0).filter((_, i) => i %% 4 === 0);
  return {found: Array.from(some), rate: buffer.sampleRate};
}"""


def test_a_loop_of_a_recording_is_as_long_as_asked(house, open_page):
    page = open_page()
    page.goto(f"{house.url}/slow")
    wav = f"/passages/{house.passage}.wav?bpm=120"
    told = page.evaluate(LOOP % wav, {"a": 0.5, "b": 2.5, "speed": 0.5})
    found = told["found"]
    assert len(found) == pytest.approx(4 * told["rate"] / 4, abs=2)
    assert 0.05 < max(map(abs, found)) <= 1
    assert abs(found[0]) < 1e-3


def test_a_file_of_ones_own_is_slowed_and_looped(house, open_page, tmp_path):
    import soundfile

    time_s = np.arange(3 * RATE) / RATE
    soundfile.write(tmp_path / "own.wav", 0.3 * np.sin(2 * np.pi * 440 * time_s), RATE)
    page = open_page(820, 1180)
    page.goto(f"{house.url}/slow")
    page.locator("#file").set_input_files(tmp_path / "own.wav")
    expect(page.locator("#wave")).to_be_visible()
    box = page.locator("#wave").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 3, box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + 2 * box["width"] / 3, box["y"] + 40)
    page.mouse.up()
    expect(page.locator("[data-slow=said]")).to_have_text("From 1.0 s to 2.0 s")
    page.locator("[data-slow=speed]").fill("40")
    page.locator("[data-slow=play]").click()
    expect(page.locator("[data-slow=play]")).to_have_text("Stop")
    page.wait_for_function(
        "() => parseFloat(document.getElementById('playhead').getAttribute('x1')) > 34"
    )
    page.get_by_role("button", name="Remove loop").click()
    expect(page.locator("[data-slow=said]")).to_have_text("")
    page.locator("#file").set_input_files(
        {"name": "x.wav", "mimeType": "audio/wav", "buffer": b"no"}
    )
    expect(page.locator("#said")).to_have_text("“x.wav” cannot be played by this browser.")
