"""Import: many files at once, what came of them, a part of a score, another grid; charts."""

import io
import re

import mido
import pytest
from desk import AIR, words

TUNES = "X:1\nT:First\nK:C\nCDEF|\n\nX:2\nT:Second\nK:G\nGABc|\n\nX:3\nT:Broken\nK:H\nC|\n"
DUET = (
    "X:1\nT:Duet\nM:4/4\nL:1/4\nV:1 name=Flute\nV:2 name=Cello clef=bass\nK:C\n"
    "V:1\ncdef|\nV:2\nC,4|\n"
)


def midi(*lines):
    file = mido.MidiFile(ticks_per_beat=480)
    for number, pitches in enumerate(lines, start=1):
        track = mido.MidiTrack([mido.MetaMessage("track_name", name=f"Hand {number}")])
        for pitch in pitches:
            track.append(mido.Message("note_on", note=pitch, time=0))
            track.append(mido.Message("note_off", note=pitch, time=160))
        file.tracks.append(track)
    box = io.BytesIO()
    file.save(file=box)
    return box.getvalue()


def sent(client, *files, name="files", **fields):
    found = [(name, (n, d, "application/octet-stream")) for n, d in files]
    return client.post("/import", files=found or None, data=fields)


def came(page):
    return words(re.search(r'id="came".*?</section>', page.text, re.DOTALL)[0])


def kept(services):
    return {p.title: p for p in services.state().passages.values()}


def test_many_files_come_at_once_and_faults_are_named(client, services):
    page = sent(
        client, ("tunes.abc", TUNES.encode()), ("air.abc", AIR.encode()), ("x.pdf", b"%PDF-1")
    )
    assert page.url.path == "/import"
    assert set(kept(services)) == {"First", "Second", "Air"}
    said = came(page)
    assert "3 pieces of notation saved, 2 not readable." in said
    assert "Broken line 3, character 3: “H” is not a key." in said
    assert "x.pdf this PDF is broken." in said


def test_the_same_notation_is_kept_once(client, services):
    sent(client, ("air.abc", AIR.encode()))
    page = sent(client, ("again.abc", AIR.encode()))
    assert len(kept(services)) == 1
    assert "0 pieces of notation saved, 1 already saved." in came(page)


def test_a_folder_and_pasted_tunes(client, services):
    page = sent(
        client, ("set/a.abc", AIR.encode()), ("set/.hidden", b"\x00"), name="folder", abc=TUNES
    )
    assert set(kept(services)) == {"Air", "First", "Second"}
    assert ".hidden" not in came(page)


def test_nothing_chosen_is_said(client):
    page = client.post("/import", data={"abc": " "})
    assert page.status_code == 422
    assert "There is no notation yet." in words(page.text)


def test_much_is_read_in_the_background_with_progress(client, services):
    many = [(f"{n}.abc", AIR.replace("Air", f"Air {n}").encode()) for n in range(15)]
    page = sent(client, *many)
    services.jobs.wait(60)
    assert len(kept(services)) == 15
    assert services.jobs.now("import").words == "15 pieces of notation saved."
    assert page.status_code == 200


def test_one_part_of_a_score(client, services):
    page = sent(client, ("duet.abc", DUET.encode()))
    assert "Flute Cello" in came(page)
    whole = kept(services)["Duet"]
    client.post(f"/import/{whole.id}/part", data={"part": "2"})
    bass = services.pile.passage(kept(services)["Duet, Cello"].id)
    assert [n.pitch for n in bass.notes] == [48]
    wrong = client.post(f"/import/{whole.id}/part", data={"part": "9"})
    assert wrong.status_code == 422
    assert "there is no part 9" in words(wrong.text)


def test_midi_says_its_grid_and_can_be_put_on_another(client, services):
    page = sent(client, ("study.mid", midi([60, 62, 64, 65, 67, 69])))
    assert "written in quarters with triplets" in came(page)
    stored = kept(services)["study"]
    here = f"/import/{stored.id}/grid"
    assert [n.duration_beats for n in services.pile.passage(stored.id).notes] == pytest.approx(
        [1 / 3] * 6
    )
    looked = client.get(here, params={"finest": "eighths", "threes": "no", "metre": "2/4"})
    assert "written in eighths without triplets" in words(looked.text)
    image = re.search(r'data="([^"]+grid\.svg[^"]*)"|src="([^"]+grid\.svg[^"]*)"', looked.text)
    assert image
    svg = client.get((image[1] or image[2]).replace("&amp;", "&"))
    assert svg.text.startswith("<svg")
    assert len(kept(services)) == 1  # nothing is kept by looking
    client.post(here, data={"finest": "eighths", "threes": "no", "metre": "2/4"})
    other = [p for p in services.state().passages.values() if p.id != stored.id]
    assert [p.title for p in other] == ["study"]
    assert services.pile.passage(other[0].id).bars[0].metre == (2, 4)


def test_each_hand_of_a_midi_file_is_a_piece_and_a_grid_that_cannot_be_is_said(client, services):
    sent(client, ("two.mid", midi([72, 74], [48, 50])))
    assert set(kept(services)) == {"two, Hand 1", "two, Hand 2"}
    stored = kept(services)["two, Hand 1"]
    page = client.get(f"/import/{stored.id}/grid", params={"key": "H"})
    assert page.status_code == 422
    assert "does not begin with a note name" in words(page.text)
    plain = sent(client, ("air.abc", AIR.encode()))
    assert plain.status_code == 200
    air = kept(services)["Air"]
    assert client.get(f"/import/{air.id}/grid").status_code == 422


def test_a_chart_of_a_page(client, services):
    abc = 'X:1\nT:Page\nM:4/4\nL:1/4\nK:F\n"F"F4|"C7"G4|\n'
    stored = services.pile.keep_passage(abc.encode(), "page.abc")
    page = client.get(f"/passages/{stored.id}/chart")
    assert page.text.count('aria-label="Page: 2 bars. F; C7"') == 2  # wide, and for a phone
    assert page.text.count('class="bar"') == 2 * 2
    plain = services.pile.keep_passage(AIR.encode(), "air.abc")
    assert client.get(f"/passages/{plain.id}/chart").status_code == 422
