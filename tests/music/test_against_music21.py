"""Our note lists against music21's reading of the same files (its own corpus, both formats).

Compared: (onset, sounding pitch, length) of every note that is not a grace note, repeats written
out and ties joined on both sides. Where the two differ, the files were looked at; music21 10.5:

- forgets ABC accidentals within a bar unless the text says `%abc-2.1` (that standard, section 11.3,
  lets them hold for the bar): the line is put before each tune here;
- goes back to the beginning at a repeat sign that has no opening one, even after an earlier repeat
  has ended: such tunes are left out (common practice goes back to the end of the last repeat);
- joins ties of chords only when all their notes are tied, does not join ties between voices, and
  joins a tie across a repeat that leads elsewhere: those files are not in the list;
- gives graces no time: lengths of notes before a grace note may differ by what it takes.
"""

import re
import warnings
from collections import Counter
from pathlib import Path

import pytest

from coldtake.music.notation.reading.reader import read_passage, unpack

music21 = pytest.importorskip("music21")
CORPUS = Path(music21.__file__).parent / "corpus"

CHORALES = [
    "bwv310",
    "bwv379",
    "bwv422",
    "bwv84.5",
    "bwv271",
    "bwv157.5",
    "bwv227.3",
]
SCORES = [
    "theoryExercises/checker_demo.mxl",
    "ciconia/quod_jactatur.xml",
    "schoenberg/opus19/movement2.mxl",
    "demos/nested_tuplet_finale_test2.xml",
    "demos/nested_tuplet_finale_test.xml",
    "demos/two-voices.xml",
    "demos/voices_with_chords.xml",
    "demos/two-parts.xml",
    "demos/incorrect_time_signature_pv.mxl",
    "demos/chorale_with_parallels.mxl",
    "webern/webern_dormi_jesu_op_16_no_2.mxl",
    "liliuokalani/aloha_oe.mxl",
    "verdi/laDonnaEMobile.mxl",
]
TUNES = 4  # of each collection: music21 takes some 0.3 s for one
ESSEN = ["altdeu10", "altdeu20", "ballad10", "boehme10", "erk10", "han1", "zuccal0"]


def theirs(score):
    """music21's notes, repeats written out, ties joined, at sounding pitch."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = score.expandRepeats().toSoundingPitch()
        found = []
        for part in score.parts or [score]:
            for element in part.stripTies(matchByPitch=True).flatten().notes:
                if isinstance(element, music21.harmony.Harmony) or element.duration.isGrace:
                    continue
                for note in element.notes if element.isChord else [element]:
                    length = float(element.quarterLength)
                    found.append(
                        (round(float(element.offset), 3), note.pitch.midi, round(length, 3))
                    )
    return Counter(found)


def ours(passage):
    """Our notes; one that gave time to a grace note gets it back."""
    graces = {(round(n.onset_beats, 6), n.staff, n.voice): n for n in passage.notes if n.grace}
    found = []
    for note in passage.notes:
        if note.grace:
            continue
        end = round(note.end_beats, 6)
        while (end, note.staff, note.voice) in graces:
            end = round(end + graces[end, note.staff, note.voice].duration_beats, 6)
        found.append((round(note.onset_beats, 3), note.pitch, round(end - note.onset_beats, 3)))
    return Counter(found)


def difference(passage, score):
    mine, other = ours(passage), theirs(score)
    return sorted(mine - other)[:5], sorted(other - mine)[:5]


def parsed(path):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return music21.converter.parse(path, forceSource=True)


@pytest.mark.parametrize("name", [f"bach/{n}.mxl" for n in CHORALES] + SCORES)
def test_musicxml(name):
    path = CORPUS / name
    form, text = unpack(path.read_bytes(), path.name)
    assert difference(read_passage(text, form), parsed(path)) == ([], [])


def tunes(name):
    text = (CORPUS / "essenFolksong" / f"{name}.abc").read_text("utf-8", errors="replace")
    return [part for part in re.split(r"(?m)^(?=X:)", text) if part.startswith("X:")]


@pytest.mark.parametrize("name", ESSEN)
def test_folk_songs_in_abc(name):
    faults = []
    for tune in tunes(name)[:TUNES]:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            score = music21.converter.parse(f"%abc-2.1\n{tune}", format="abc")
        found = difference(read_passage(tune, "abc"), score)
        if found != ([], []):
            faults.append((tune.partition("\n")[0], found))
    assert faults == []


def test_a_chorale_has_four_voices_in_bars_of_four():
    path = CORPUS / "bach" / "bwv310.mxl"
    form, text = unpack(path.read_bytes(), path.name)
    passage = read_passage(text, form)
    assert len(passage.part_names) == 4
    assert {n.staff for n in passage.notes} == {1, 2, 3, 4}
    assert not passage.is_one_line
