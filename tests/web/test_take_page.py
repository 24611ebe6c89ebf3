"""A take: the answer, its figures, every note marked, the sound, and the player's own word."""

import io
import re
from dataclasses import replace

import numpy as np
import pytest
import soundfile
from desk import AIR, fault_of, words

from coldtake.domain.take import Answer, Judge, NoteStatus
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.playback.sounding import schedule
from coldtake.music.playback.synth import render

RATE = 22050


def played(change=lambda notes: notes) -> bytes:
    """The air as a WAV, with half a second of quiet around it."""
    notes = change(list(schedule(read_passage(AIR, "abc"), 96)))
    sound = render(tuple(notes), rate=RATE, voice="clarinet")
    quiet = np.zeros(RATE // 2, dtype=np.float32)
    out = io.BytesIO()
    soundfile.write(out, np.concatenate([quiet, sound, quiet]), RATE, format="WAV")
    return out.getvalue()


def one_wrong(notes):
    notes[4] = replace(notes[4], pitch=notes[4].pitch + 1)
    return notes


@pytest.fixture
def step(desk):
    return desk.step(desk.topic(), passage=True)


def send(client, step, data, name="take.wav", cold="yes"):
    sound = {"sound": (name, data)}
    return client.post(f"/steps/{step.id}/takes", files=sound, data={"cold": cold})


def only_take(services):
    (take,) = services.state().takes.values()
    return take


def test_a_right_take_is_yes_with_its_figures(client, services, step):
    page = send(client, step, played())
    assert page.status_code == 200
    assert only_take(services).verdict.answer is Answer.YES
    said = words(page.text)
    assert "Yes" in said
    assert "Allowed: 0 notes" in said
    assert "Steady." in said
    assert page.text.count("mark-right") >= 9
    assert "/sound" in page.text
    listed = words(client.get(f"/steps/{step.id}").text)
    assert "yes cold" in listed


def stopped(notes):
    """Two seconds of hesitation before the sixth note."""
    return [replace(n, onset_s=n.onset_s + (2.0 if k > 4 else 0.0)) for k, n in enumerate(notes)]


def test_a_stop_has_its_place_whatever_the_criterion_asks(client, services, step):
    page = send(client, step, played(stopped))
    (stumble,) = only_take(services).verdict.stumbles
    passage = read_passage(AIR, "abc")
    assert stumble.note_id == passage.notes[5].id
    said = words(page.text)
    assert f"Steady but for bar {passage.notes[5].bar}." in said
    assert "Stops and uneven bars" in said
    assert "beats before this note" in said
    assert "mark-stop" in page.text
    assert re.search(r"\d\d in 100", said)


def test_a_wrong_note_is_marked_at_its_place(client, services, step):
    page = send(client, step, played(one_wrong))
    assert only_take(services).verdict.answer is Answer.NO
    assert "mark-wrong" in page.text
    assert "G4 was played as" in words(page.text)
    assert '<tr class="row-wrong"' in page.text


def test_on_the_stand_only_faults_are_marked_and_the_first_is_named(client, services, step):
    send(client, step, played(one_wrong))
    take = only_take(services)
    svg = client.get(f"/takes/{take.id}/notation.svg?width=520").text
    assert "mark-wrong" in svg
    assert "mark-right" not in svg
    fault = re.search(r'data-fault="([^"]+)"', svg)[1]
    assert "mark-wrong" in re.search(rf'<g [^>]*id="{fault}"[^>]*>', svg)[0]
    notes = services.takes.get(take.id).verdict.notes
    [wrong] = [n for n in notes if n.status is NoteStatus.WRONG]
    seek_s = float(re.search(r'data-seek-s="([^"]+)"', svg)[1])
    assert 0.0 <= wrong.onset_s - seek_s < 0.5


def test_a_take_without_verdict_has_no_marked_notation(client, services, step):
    assert client.get("/takes/none/notation.svg").status_code == 404


def test_the_players_own_answer_counts_and_both_are_kept(client, services, step):
    send(client, step, played(one_wrong))
    take = only_take(services)
    page = client.post(f"/takes/{take.id}/answer", data={"answer": "yes"})
    kept = services.state().tries[take.id]
    assert (kept.answer, kept.judge, kept.heard) == (Answer.YES, Judge.PLAYER, Answer.NO)
    assert "You answered: yes" in words(page.text)
    assert kept.cold


def test_an_answer_that_is_none(client, services, step):
    send(client, step, played(one_wrong))
    take = only_take(services)
    assert client.post(f"/takes/{take.id}/answer", data={"answer": "maybe"}).status_code == 422


def test_silence_is_cannot_tell_with_a_remedy(client, services, step):
    out = io.BytesIO()
    soundfile.write(out, np.zeros(3 * RATE, dtype=np.float32), RATE, format="WAV")
    page = send(client, step, out.getvalue())
    verdict = only_take(services).verdict
    assert verdict.answer is Answer.CANNOT_TELL
    assert verdict.remedy
    assert verdict.remedy.split(".")[0] in words(page.text)


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("empty.wav", b""),
        ("cut.wav", b"RIFF\x24\x00\x00\x00WAVEfmt "),
        ("notes.txt", b"I played it well, believe me."),
    ],
)
def test_a_file_that_is_no_take_says_so_and_keeps_nothing(client, services, step, name, data):
    answer = send(client, step, data, name)
    assert answer.status_code == 422
    assert len(fault_of(answer)) > 30
    assert services.state().takes == {}


def test_no_file_chosen(client, step):
    answer = client.post(f"/steps/{step.id}/takes", data={"other": "x"})
    assert "No recording was chosen" in fault_of(answer)


def test_the_sound_can_be_played_from_anywhere(client, services, step):
    send(client, step, played())
    path = f"/takes/{only_take(services).id}/sound"
    part = client.get(path, headers={"Range": "bytes=0-3"})
    assert part.status_code == 206
    assert part.content == b"fLaC"


def test_a_take_outlives_its_step_and_its_sound(client, services, step):
    send(client, step, played(one_wrong))
    take = only_take(services)
    services.takes.sound(take.id).unlink()
    services.pile.drop_step(step.id)
    page = client.get(f"/takes/{take.id}")
    assert page.status_code == 200
    assert "recording of this take is missing" in words(page.text)


def test_an_unknown_take(client):
    assert client.get("/takes/none").status_code == 404
    assert client.get("/takes/none/sound").status_code == 404
