"""Improvising over changes and a rhythm alone, from the step page to the evidence."""

import io
import json

import numpy as np
import pytest
import soundfile
from desk import words

from coldtake.domain.criterion import ChangesTest, Criterion, NotesTest, RhythmTest
from coldtake.domain.take import Answer
from coldtake.domain.topic import Exercise, PassageRef
from coldtake.music.playback.sounding import SoundedNote
from coldtake.music.playback.synth import render

RATE = 22050
BPM = 120.0
CHANGES = 'X:1\nT:Over three\nM:4/4\nL:1/1\nQ:1/4=120\nK:C\n"Dm7"D|"G7"G|"Cmaj7"C|"Cmaj7"C|]\n'
LINE = (62, 65, 69, 72, 71, 69, 67, 65, 71, 74, 77, 74, 71, 69, 67, 65,
        64, 67, 71, 72, 74, 72, 71, 67, 64, 62, 60, 64, 67, 71, 72, 67)  # fmt: skip
BEAT_S = 60.0 / BPM
TAKE = "01890a5d-ac96-774b-bcce-b302099a8058"


def wav(samples: np.ndarray) -> bytes:
    out = io.BytesIO()
    soundfile.write(out, samples, RATE, format="WAV")
    return out.getvalue()


def played(pitches=LINE) -> bytes:
    notes = tuple(
        SoundedNote(str(k), 0.6 + k * BEAT_S / 2, 0.45 * BEAT_S, p) for k, p in enumerate(pitches)
    )
    return wav(np.concatenate([render(notes, rate=RATE, voice="clarinet"), np.zeros(RATE)]))


@pytest.fixture
def step(desk, services):
    stored = services.pile.keep_passage(CHANGES.encode(), "changes.abc")
    exercise = Exercise(passage=PassageRef(passage_id=stored.id), tempo_bpm=BPM)
    criterion = Criterion(tests=(ChangesTest(in_scale_percent=80, silence_beats=4),))
    return desk.step(desk.topic("Over three"), "One chorus", exercise=exercise, criterion=criterion)


CLICK = {"first_s": 0.5 - 4 * BEAT_S, "every_s": BEAT_S, "music_s": 0.5, "per_bar": 4}


def send(client, step, data):
    return client.put(
        f"/api/takes/{TAKE}",
        params={"step_id": step.id, "click": json.dumps(CLICK), "click_bpm": BPM},
        content=data,
        headers={"content-type": "audio/wav"},
    )


def only_take(services):
    (take,) = services.state().takes.values()
    return services.takes.get(take.id)


def test_a_take_over_changes_shows_each_chord(client, services, step):
    answer = send(client, step, played())
    assert answer.status_code in (200, 201), answer.text
    take = only_take(services)
    assert take.verdict.answer is Answer.YES, take.verdict.reason
    page = client.get(f"/takes/{take.id}")
    assert page.status_code == 200
    said = words(page.text)
    assert "Chord by chord" in said
    assert "Dm7" in said
    assert "100%" in said
    assert 'class="chords-heard"' in page.text
    assert "0 of 32 notes outside the scale." in said


def test_an_uploaded_chorus_without_a_click_is_judged(client, services, step):
    page = client.post(f"/steps/{step.id}/takes", files={"sound": ("chorus.wav", played())})
    assert page.status_code == 200, words(page.text)
    take = only_take(services)
    assert take.verdict.answer is not Answer.NO, take.verdict.reason
    assert take.verdict.tempo_bpm == pytest.approx(BPM, rel=0.02)


def test_notes_outside_are_listed(client, services, step):
    away = [{0: 61, 1: 66, 2: 61, 3: 61}[k // 8] if k % 2 else p for k, p in enumerate(LINE)]
    send(client, step, played(away))
    take = only_take(services)
    assert take.verdict.answer is Answer.NO
    said = words(client.get(f"/takes/{take.id}").text)
    assert "outside" in said
    assert "No" in said


def test_a_hum_is_never_yes(client, services, step):
    hum = 0.1 * np.sin(2 * np.pi * 110.0 * np.arange(10 * RATE) / RATE)
    send(client, step, wav(hum))
    assert only_take(services).verdict.answer is Answer.CANNOT_TELL


def form(**fields) -> dict[str, str]:
    return {"times_wanted": "1", **fields}


def test_changes_are_asked_on_the_step_page(client, services, step):
    asked = form(
        changes="1", changes_choruses="2", changes_in_scale_percent="80",
        changes_strong_beats_percent="50", changes_silence_beats="6", changes_most_per_bar="8",
        changes_lowest="e♭4", changes_highest="C6",
    )  # fmt: skip
    page = client.post(f"/steps/{step.id}/criterion", data=asked)
    assert page.status_code == 200
    (test,) = services.pile.step(step.id).criterion.tests
    assert test == ChangesTest(
        choruses=2, in_scale_percent=80, strong_beats_percent=50, silence_beats=6,
        most_per_bar=8, lowest=63, highest=84,
    )  # fmt: skip
    assert 'value="E♭4"' in page.text
    assert "2 choruses, 80% of the sound in a scale of the chord" in words(page.text)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"changes": "1"}, "has no test"),
        ({"changes": "1", "changes_silence_beats": "4", "notes": "1"}, "no written notes"),
        ({"changes": "1", "changes_lowest": "H4"}, "middle C is C4"),
        ({"changes": "1", "changes_lowest": "C6", "changes_highest": "C4"}, "is above"),
    ],
)
def test_what_cannot_be_asked_is_said(client, services, step, fields, said):
    before = services.pile.step(step.id).criterion
    page = client.post(f"/steps/{step.id}/criterion", data=form(**fields))
    assert page.status_code in (400, 422)
    assert said in words(page.text)
    assert services.pile.step(step.id).criterion == before


def test_a_rhythm_alone_is_asked_and_judged(client, services, desk):
    abc = "X:1\nM:4/4\nL:1/4\nQ:1/4=120\nK:C\nCC/C/CC|C3/2C/CC|C/C/C C2|]\n"
    stored = services.pile.keep_passage(abc.encode(), "rhythm.abc")
    exercise = Exercise(passage=PassageRef(passage_id=stored.id), tempo_bpm=BPM)
    step = desk.step(desk.topic("Clapping"), "Three bars", exercise=exercise)
    asked = form(
        notes="1", notes_allowed="0", rhythm="1", rhythm_share_percent="90",
        rhythm_tolerance_percent="20", rhythm_only="1",
    )  # fmt: skip
    client.post(f"/steps/{step.id}/criterion", data=asked)
    criterion = services.pile.step(step.id).criterion
    assert criterion == Criterion(tests=(NotesTest(), RhythmTest()), rhythm_only=True)
    passage = services.pile.exercise_passage(services.pile.step(step.id))
    rng, out = np.random.default_rng(1), np.zeros(9 * RATE)
    for note in passage.notes:
        at = round((0.6 + note.onset_beats * BEAT_S) * RATE)
        out[at : at + 2000] += rng.normal(0, 0.2, 2000) * np.exp(-np.arange(2000) / 400)
    client.post(f"/steps/{step.id}/takes", files={"sound": ("claps.wav", wav(out))})
    take = only_take(services)
    assert take.verdict.answer is Answer.YES, take.verdict.reason
    page = client.get(f"/takes/{take.id}")
    assert page.text.count("mark-right") >= len(passage.notes)
    assert "Only the rhythm: every note right" in words(page.text)


def test_the_session_waits_for_all_choruses_and_through_rests(client, services, desk, step):
    asked = form(changes="1", changes_choruses="3", changes_silence_beats="6")
    client.post(f"/steps/{step.id}/criterion", data=asked)
    running = client.post("/api/session/start", json={}).json()
    (told,) = [s for s in running["steps"].values() if s["title"] == "One chorus"]
    assert told["heard"] is True
    assert told["passage_beats"] == 3 * 16
    assert told["longest_rest_beats"] == 16
