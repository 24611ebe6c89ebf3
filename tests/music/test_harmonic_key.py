"""The key of a progression: usual ones in every key, and stated keys of chorales and a song.

The progressions are common practice, no source; they name no song. Signatures are compared with
music21's (M. S. Cuthbert and C. Ariza, "music21", ISMIR 2010, Utrecht; version 10).
"""

import warnings
from fractions import Fraction
from pathlib import Path

import pytest

from coldtake.music.notation.reading.charts import chart_of, read_changes
from coldtake.music.notation.reading.reader import read_passage
from coldtake.music.theory.chords import read_chord
from coldtake.music.theory.harmonic_key import harmonic_key
from coldtake.music.theory.keys import read_key
from coldtake.music.theory.tones import usual_interval

music21 = pytest.importorskip("music21")

IN_C = {
    "blues": "C7 | % | % | % | F7 | % | C7 | % | G7 | F7 | C7 | %",
    "blues that turns round": "C7 | F7 | C7 | % | F7 | % | C7 | A7 | Dm7 | G7 | C7 A7 | Dm7 G7",
    "blues with a diminished chord": "C7 | F7 | C7 | Gm7 C7 | F7 | F#dim7 | C7 | Em7b5 A7 | Dm7 | "
    "G7 | C7 A7 | Dm7 G7",
    "blues with ii V all the way": "Cmaj7 | Bm7b5 E7 | Am7 D7 | Gm7 C7 | F7 | Fm7 Bb7 | Em7 A7 | "
    "Ebm7 Ab7 | Dm7 | G7 | C6 A7 | Dm7 G7",
    "blues in triads": "C | % | % | C7 | F | % | C | % | G7 | F | C | G7",
    "thirty-two bars": "|: Cmaj7 A7 | Dm7 G7 | Em7 A7 | Dm7 G7 | Gm7 C7 | F7 F#dim7 |1. Em7 A7 | "
    "Dm7 G7 :|2. Dm7 G7 | C6 || E7 | % | A7 | % | D7 | % | G7 | % || Cmaj7 A7 | Dm7 G7 | Em7 A7 | "
    "Dm7 G7 | Gm7 C7 | F7 F#dim7 | Dm7 G7 | C6",
    "ii V I": "Dm7 | G7 | Cmaj7 | %",
    "ii V and no more": "Dm7 | G7 | Dm7 | G7",
    "four chords": "C | G | Am | F",
    "a chain of dominants": "E7 | % | A7 | % | D7 | G7 | C6 | G7",
    "hymn": "C | F C | G7 | C | Am | D7 | G | C | F | C G7 | C",
    "borrowed chords": "Cmaj7 | % | Fm7 | Bb7 | Cmaj7 | % | Bbm7 | Eb7 | Abmaj7 | % | Am7 | D7 | "
    "Dm7 | G7 | Cmaj7 | Dm7 G7",
}
IN_C_MINOR = {
    "minor blues": "Cm7 | % | % | % | Fm7 | % | Cm7 | % | Ab7 | G7 | Cm7 | %",
    "minor blues that turns round": "Cm7 | Fm7 | Cm7 | C7 | Fm7 | % | Cm7 | % | Dm7b5 | G7 | "
    "Cm7 | Dm7b5 G7",
    "round the fifths to minor": "Fm7 | Bb7 | Ebmaj7 | Abmaj7 | Dm7b5 | G7 | Cm6 | %",
    "bass that falls": "Cm | Bb | Ab | G7",
    "minor with a bright end": "Cm | Fm Cm | G7 | Cm | Eb | Bb7 | Cm G7 | C",
}
CASES = [(text, "C", name) for name, text in IN_C.items()]
CASES += [(text, "C minor", name) for name, text in IN_C_MINOR.items()]


@pytest.mark.parametrize(("text", "home", "name"), CASES, ids=[name for *_, name in CASES])
def test_a_usual_progression_is_known_in_every_key(text, home, name):
    changes = read_changes(text)
    for up in range(12):
        moved = changes.moved(usual_interval(up))
        wanted = read_key(home).moved(usual_interval(up))
        found = harmonic_key([(s.chord, s.beats) for s in moved.spans])
        assert (found.tonic.pitch_class, found.mode) == (wanted.tonic.pitch_class, wanted.mode)
        assert found == moved.key  # also spelled as it is read
        theirs = music21.key.Key(str(found.tonic).replace("♭", "-").replace("♯", "#"), found.mode)
        assert found.fifths == theirs.sharps


def test_a_blues_in_f_has_one_flat():
    """And E flat before the seventh of F7 (common practice, no source)."""
    blues = read_changes("F7 | Bb7 | F7 | % | Bb7 | % | F7 | % | C7 | Bb7 | F7 | C7")
    assert (str(blues.key), blues.key.fifths) == ("F major", -1)


def test_twelve_fourths_come_round_in_keys_and_chords_that_agree():
    home = read_changes("Gb7 | Cb7 | Gb7 | Ab7 | Db7 | Gb7")
    there = home
    for _ in range(12):
        there = there.moved(usual_interval(5))
        roots = [s.chord.root for s in there.spans]
        assert [there.key.tonic, there.key.tones[3]] == roots[:2]  # on 1 and 4 of its own scale
        assert max(abs(root.alter) for root in roots) <= 1
    assert [s.chord.symbol for s in there.spans] == [s.chord.symbol for s in home.spans]


@pytest.mark.parametrize(
    ("key", "chords", "named"),
    [("F", "F7 Bb7 C7 F7", "F major"), ("Eb", "Cm7 Fm7 G7 Cm7", "C minor")],
)
def test_a_page_keeps_its_signature_and_its_chords_say_major_or_minor(key, chords, named):
    bars = " | ".join(f'"{chord}"c4' for chord in chords.split())
    page = read_passage(f"X:1\nM:4/4\nL:1/4\nK:{key}\n{bars} |]\n", "abc")
    assert str(chart_of(page).key) == named


def test_nothing_to_go_by_is_c_major():
    assert str(read_changes("N.C. | %").key) == "C major"


# Outside: keys that others have stated

QUALITY = {
    "major triad": "",
    "minor triad": "m",
    "diminished triad": "dim",
    "augmented triad": "+",
    "dominant seventh chord": "7",
    "major seventh chord": "maj7",
    "minor seventh chord": "m7",
    "half-diminished seventh chord": "m7b5",
    "diminished seventh chord": "dim7",
}
CHORALES = Path(music21.__file__).parent / "corpus" / "bach" / "choraleAnalyses"
LOOKED_AT = ("001", "005", "006", "010", "012", "014", "017", "019")


def analysed(path):
    """Chords of an analysis in Roman numerals, and the key it begins in."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parse(path)
        numerals = list(score.recurse().getElementsByClass(music21.roman.RomanNumeral))
        named = [(n, QUALITY.get(n.commonName)) for n in numerals]
    chords = [
        (read_chord(n.root().name.replace("-", "b") + suffix), Fraction(n.quarterLength))
        for n, suffix in named
        if suffix is not None
    ]
    return chords, numerals[0].key


def test_chorales_are_in_the_keys_that_their_analysts_state():
    """A. Jones, Riemenschneider chorales in RomanText, in music21's corpus; proofread by D.

    Tymoczko and H. Robb. One of these eight ends in major and is missed; of all twenty, two are.
    """
    right = 0
    for number in LOOKED_AT:
        chords, stated = analysed(CHORALES / f"riemenschneider{number}.rntxt")
        found = harmonic_key(chords)
        right += (found.tonic.pitch_class, found.mode) == (stated.tonic.pitchClass, stated.mode)
    assert right == 7


def test_a_song_of_1854_is_in_f():
    """S. C. Foster, Jeanie with the light brown hair, New York 1854; chords of music21's corpus."""
    chords = "F Bb F C F Bb F G7 C F Bb F C F G7 C F C G7 C F Bb F Dm G7 C F Bb F C F Bb F Bb F C F"
    assert str(harmonic_key([(read_chord(c), Fraction(1)) for c in chords.split()])) == "F major"
