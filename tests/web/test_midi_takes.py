"""A keyboard's take through the interface: kept byte for byte, heard, judged and shown."""

import io

import mido
import numpy as np
import soundfile as sf

from coldtake.domain.criterion import Criterion, NotesTest
from coldtake.domain.take import Answer
from coldtake.domain.topic import Exercise, PassageRef, Place, Step
from coldtake.listening.keyboard.midi_take import keys_of

CHORDS = "X:1\nM:4/4\nL:1/4\nQ:1/4=100\nK:C\n[CEG] [CFA] [B,DG] [CEGc]|[CEG]4|]\n"
PRESSED = ((60, 64, 67), (60, 65, 69), (59, 62, 67), (60, 64, 67, 72), (60, 64, 67))
TAKE = "01890000-0000-7000-8000-0000000000a1"


def a_step(services) -> Step:
    topic = services.pile.add("Chorale", place=Place.CURRENT)
    stored = services.pile.keep_passage(CHORDS.encode(), "chorale.abc")
    return services.pile.keep_step(
        Step(
            id="01890000-0000-7000-8000-0000000000b1",
            topic_id=topic.id,
            title="Both hands",
            criterion=Criterion(tests=(NotesTest(),)),
            exercise=Exercise(passage=PassageRef(passage_id=stored.id), tempo_bpm=100),
        )
    )


def smf() -> bytes:
    file = mido.MidiFile(ticks_per_beat=10_000)
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=1_000_000)])
    file.tracks.append(track)
    events = []
    for k, chord in enumerate(PRESSED):
        for n, pitch in enumerate(chord):
            on = 0.5 + 0.6 * k + 0.01 * n
            events += [(on, "note_on", pitch), (on + 0.45, "note_off", pitch)]
    now = 0
    for at, kind, pitch in sorted(events):
        tick = round(at * 10_000)
        track.append(mido.Message(kind, note=pitch, velocity=70, time=tick - now))
        now = tick
    out = io.BytesIO()
    file.save(file=out)
    return out.getvalue()


def test_a_keyboards_take_with_chords_is_kept_exactly_and_judged(client, services):
    step = a_step(services)
    query = {"step_id": step.id, "source": "midi", "click_bpm": "100"}
    reply = client.put(f"/api/takes/{TAKE}", params=query, content=smf())
    assert reply.status_code == 200, reply.text
    assert reply.json()["verdict"]["answer"] == "yes"
    take = services.takes.get(TAKE)
    assert take.source == "midi"
    assert keys_of(services.takes.sound(TAKE).read_bytes()) == smf()
    sound, rate = sf.read(services.takes.sound(TAKE))
    assert np.abs(sound).max() > 0.05
    assert len(sound) / rate > 3.0
    page = client.get(f"/takes/{TAKE}").text
    assert "from a MIDI keyboard" in page
    again = services.takes.rejudge(TAKE)
    assert again.answer is Answer.YES


def test_a_damaged_midi_file_is_refused_with_words(client, services):
    step = a_step(services)
    reply = client.put(f"/api/takes/{TAKE}", params={"step_id": step.id}, content=smf()[:25])
    assert reply.status_code == 422
    assert "MIDI" in reply.json()["error"]["what"]
    assert not services.state().takes
