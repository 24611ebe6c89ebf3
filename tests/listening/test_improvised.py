"""Improvising over changes: notes, bars, figures and the verdict, on another bank than tuned on."""

from dataclasses import replace

import mir_eval
import music21
import numpy as np
import pytest
from band import INSTRUMENTS, RATE, Played, synth
from takes import BANK, HAVE_BANK, WHY_NOT

from coldtake.domain.criterion import ChangesTest, Criterion, NotesTest, TempoTest
from coldtake.domain.take import Answer, ClickTrack, NoteStatus
from coldtake.listening.features.audio_features import hear
from coldtake.listening.improvised.harmony import ground_of
from coldtake.listening.improvised.judging import judge_improvised, judge_improvised_keys
from coldtake.listening.improvised.measuring import OnBeats, measured
from coldtake.listening.improvised.transcribing import transcribe
from coldtake.listening.judging_request import JudgingRequest
from coldtake.listening.keyboard.midi_performance import MidiNote, MidiPerformance
from coldtake.listening.sources.sound import Sound
from coldtake.music.notation.reading.charts import read_changes
from coldtake.music.passage import Bar, Harmony, Passage

needs_bank = pytest.mark.skipif(not HAVE_BANK, reason=WHY_NOT)
BPM = 120.0
BEAT_S = 60.0 / BPM
MUSIC_S = 1.0
CHORDS = ("Dm7", "G7", "Cmaj7", "A7")
# An invented line in eighths: chord and scale tones, thirds and sevenths where the chord changes.
INSIDE = (
    (62, 65, 69, 72, 71, 69, 67, 65), (71, 74, 77, 74, 71, 69, 67, 65),
    (64, 67, 71, 72, 74, 72, 71, 67), (73, 76, 79, 76, 73, 71, 69, 67),
)  # fmt: skip


def passage(transposition: int = 0) -> Passage:
    bars = tuple(Bar(k, str(k + 1), 4.0 * k, 4.0, (4, 4)) for k in range(4))
    marks = tuple(Harmony(4.0 * k, c) for k, c in enumerate(CHORDS))
    return Passage("", (), bars, (), "", harmonies=marks, transposition=transposition)


def line(up: int = 0) -> list[tuple[float, int]]:
    return [(4 * b + k / 2, p + up) for b, bar in enumerate(INSIDE) for k, p in enumerate(bar)]


def outside() -> list[tuple[float, int]]:
    """Every second note of the line a tone outside any scale of its chord."""
    away = {"Dm7": 61, "G7": 66, "Cmaj7": 61, "A7": 68}
    return [(b, away[CHORDS[int(b // 4)]] if k % 2 else p) for k, (b, p) in enumerate(line())]


def keys(notes: list[tuple[float, int]], held: float = 0.44) -> list[Played]:
    off = np.random.default_rng(2).normal(0.0, 0.008, len(notes))
    return [
        Played(MUSIC_S + b * BEAT_S + o, MUSIC_S + (b + held) * BEAT_S + o, p, 90)
        for (b, p), o in zip(notes, off, strict=True)
    ]


def sounded(instrument: str, notes: list[Played]) -> Sound:
    return Sound(synth(BANK).render(INSTRUMENTS[instrument].program, notes), RATE)


def click(delay_s: float = 0.12) -> ClickTrack:
    start = MUSIC_S - delay_s
    return ClickTrack(first_s=start - 4 * BEAT_S, every_s=BEAT_S, music_s=start, per_bar=4)


def asked(test: ChangesTest, *more, track: ClickTrack | None = None, **fields) -> JudgingRequest:
    return JudgingRequest(passage(**fields), Criterion(tests=(test, *more)), track, tempo_bpm=BPM)


PLAIN = ChangesTest(in_scale_percent=85, silence_beats=4)
ALL = ChangesTest(
    in_scale_percent=80, strong_beats_percent=40, arrivals_percent=50, silence_beats=4,
    phrase_beats=20, least_per_bar=4, most_per_bar=12, lowest=55, highest=86,
)  # fmt: skip


@needs_bank
@pytest.mark.parametrize("instrument", ["trumpet", "alto sax", "guitar", "clarinet"])
def test_notes_are_found(instrument):
    played = keys(line())
    found = transcribe(hear(sounded(instrument, played))).notes
    scores = mir_eval.transcription.precision_recall_f1_overlap(
        np.array([(n.start_s, n.end_s) for n in played]),
        mir_eval.util.midi_to_hz(np.array([n.key for n in played])),
        np.array([(n.onset_s, n.offset_s) for n in found]),
        mir_eval.util.midi_to_hz(np.array([n.pitch for n in found])),
        offset_ratio=None,
    )
    assert scores[2] >= 0.9


@needs_bank
@pytest.mark.parametrize("instrument", ["trumpet", "clarinet"])
def test_a_line_inside_the_changes_is_yes_with_evidence_for_each_chord(instrument):
    verdict = judge_improvised(sounded(instrument, keys(line())), asked(ALL, track=click()))
    assert verdict.answer is Answer.YES, verdict.reason
    assert [c.symbol for c in verdict.chords] == list(CHORDS)
    assert all(c.in_scale > 0.9 for c in verdict.chords)
    assert [c.arrived for c in verdict.chords[1:]] == [True, True, True]
    assert verdict.chords[1].from_s == pytest.approx(MUSIC_S + 4 * BEAT_S, abs=0.06)
    assert {n.status for n in verdict.notes} == {NoteStatus.PLAYED}
    assert any(n.words == "3 of G7" for n in verdict.notes)


@needs_bank
def test_a_line_outside_the_changes_is_no_and_says_which_notes():
    verdict = judge_improvised(sounded("trumpet", keys(outside())), asked(PLAIN, track=click()))
    assert verdict.answer is Answer.NO
    (in_scale,) = [f for f in verdict.tests if f.name == "in scale"]
    assert in_scale.value == pytest.approx(50.0, abs=10.0)
    assert sum("outside" in n.words for n in verdict.notes) >= 10


@needs_bank
def test_a_hole_and_an_early_end_are_told():
    hole = [(b, p) for b, p in line() if not 5.0 <= b < 10.5]
    verdict = judge_improvised(sounded("trumpet", keys(hole)), asked(PLAIN, track=click()))
    assert verdict.answer is Answer.NO
    assert "longest silence 5" in verdict.reason
    short = [(b, p) for b, p in line() if b < 7.0]
    verdict = judge_improvised(sounded("trumpet", keys(short)), asked(PLAIN, track=click()))
    assert verdict.answer is Answer.NO
    assert "the take ends in bar" in verdict.reason


@needs_bank
def test_a_clarinet_in_b_flat_reads_what_sounds_a_tone_lower():
    sound = sounded("clarinet", keys(line(up=-2)))
    assert judge_improvised(sound, asked(PLAIN, track=click(), transposition=-2)).answer is (
        Answer.YES
    )
    assert judge_improvised(sound, asked(PLAIN, track=click())).answer is not Answer.YES


@needs_bank
def test_without_a_click_the_figures_are_never_surer_than_the_bars():
    verdict = judge_improvised(sounded("trumpet", keys(line())), asked(PLAIN))
    assert verdict.tempo_bpm == pytest.approx(BPM, rel=0.02)
    with_click = judge_improvised(sounded("trumpet", keys(line())), asked(PLAIN, track=click()))
    assert verdict.tests[1].uncertainty >= with_click.tests[1].uncertainty


@needs_bank
def test_several_sounds_at_once_cannot_be_told():
    chords = [
        Played(MUSIC_S + 2 * k * BEAT_S, MUSIC_S + (2 * k + 1.9) * BEAT_S, p, 100)
        for k, c in enumerate(("Dm7", "Dm7", "G7", "G7", "Cmaj7", "Cmaj7", "A7", "A7"))
        for p in {"Dm7": (50, 53, 57, 60), "G7": (43, 53, 59, 62), "Cmaj7": (48, 52, 55, 59),
                  "A7": (45, 52, 55, 61)}[c]
    ]  # fmt: skip
    band = sounded("piano", chords).samples
    solo = sounded("trumpet", keys(line())).samples
    size = min(len(band), len(solo))
    both = Sound(0.5 * band[:size] + 0.5 * solo[:size], RATE)
    assert judge_improvised(both, asked(PLAIN, track=click())).answer is Answer.CANNOT_TELL


def test_silence_noise_and_gliding_pitches_are_never_yes():
    rng, seconds = np.random.default_rng(3), np.arange(10 * RATE) / RATE
    glide = np.cumsum(220.0 * 2 ** (0.8 * np.sin(2 * np.pi * 0.9 * seconds)) / RATE)
    syllables = np.sin(2 * np.pi * 1.9 * seconds) > -0.4
    voice = sum(np.sin(2 * np.pi * k * glide) / k for k in range(1, 9)) * syllables * 0.1
    easy = ChangesTest(in_scale_percent=None, silence_beats=30)
    for samples in (np.zeros(10 * RATE), rng.normal(0, 0.1, 10 * RATE), voice):
        sound = Sound(samples.astype(np.float32), RATE)
        verdict = judge_improvised(sound, asked(easy, track=click()))
        assert verdict.answer is Answer.CANNOT_TELL
        assert verdict.remedy


def press(notes: list[Played]) -> MidiPerformance:
    made = tuple(MidiNote(n.start_s, n.end_s, n.key, n.velocity) for n in notes)
    return MidiPerformance(made, made[-1].offset_s + 0.5)


def test_keys_are_judged_alike_with_several_notes_at_once():
    left = [Played(MUSIC_S + 4 * k * BEAT_S, MUSIC_S + (4 * k + 3.9) * BEAT_S, p)
            for k, p in enumerate((50, 43, 48, 45))]  # fmt: skip
    both = sorted([*keys(line()), *left], key=lambda n: n.start_s)
    assert judge_improvised_keys(press(both), asked(ALL_KEYS, track=click())).answer is Answer.YES
    wrong = judge_improvised_keys(press(keys(outside())), asked(PLAIN, track=click()))
    assert wrong.answer is Answer.NO


ALL_KEYS = ChangesTest(in_scale_percent=90, strong_beats_percent=50, silence_beats=4, lowest=40)


def test_the_range_is_as_the_player_reads_it():
    high = ChangesTest(in_scale_percent=None, silence_beats=None, highest=75)
    verdict = judge_improvised_keys(press(keys(line())), asked(high, track=click()))
    assert verdict.answer is Answer.NO
    read_higher = asked(replace_highest(high, 81), track=click())
    assert judge_improvised_keys(press(keys(line())), read_higher).answer is Answer.YES


def replace_highest(test: ChangesTest, highest: int) -> ChangesTest:
    return ChangesTest(in_scale_percent=None, silence_beats=None, highest=highest)


def test_what_needs_written_notes_cannot_be_told():
    verdict = judge_improvised_keys(
        press(keys(line())), asked(PLAIN, NotesTest(), TempoTest(mark=100), track=click())
    )
    assert verdict.answer is Answer.CANNOT_TELL
    assert "cannot be compared with written notes" in verdict.reason


def test_no_chord_symbols_or_no_tempo_says_what_to_do():
    bare = JudgingRequest(replace(passage(), harmonies=()), Criterion(tests=(PLAIN,)), click())
    assert "chord symbols" in judge_improvised_keys(press(keys(line())), bare).reason
    loose = JudgingRequest(passage(), Criterion(tests=(PLAIN,)))
    assert "tempo" in judge_improvised_keys(press(keys(line())), loose).remedy


def on_beats(*rows: tuple[float, float, int]) -> list[OnBeats]:
    return [OnBeats(a, b, p, True) for a, b, p in rows]


def test_the_share_in_scale_agrees_with_music21s_scales():
    """Scales of music21 (M. Cuthbert and C. Ariza, 2010) over two chords, each note a beat."""
    rng = np.random.default_rng(8)
    pitches = rng.integers(60, 84, 8).tolist()
    over = [music21.scale.DorianScale("D"), music21.scale.MixolydianScale("G")]
    classes = [{p.pitchClass for p in s.getPitches("C4", "C5")} for s in over]
    expected = np.mean([p % 12 in classes[k // 4] for k, p in enumerate(pitches)])
    ground = ground_of(read_changes("Dm7 | G7"), 1, 0, simplest=True)
    notes = on_beats(*((float(k), k + 1.0, p) for k, p in enumerate(pitches)))
    assert measured(notes, ground).in_scale.percent == pytest.approx(100 * expected)


def test_an_anticipated_note_belongs_to_the_chord_that_it_anticipates():
    ground = ground_of(read_changes("Cmaj7 | Eb7"), 1, 0, simplest=True)
    early = measured(on_beats((0.0, 3.0, 64), (3.5, 6.0, 67), (6.0, 8.0, 61)), ground)
    assert early.in_scale.percent == pytest.approx(100.0)
    held = measured(on_beats((0.0, 3.0, 64), (3.5, 4.0, 63)), ground)  # E♭ over C
    assert held.in_scale.percent == pytest.approx(100.0 * 3.0 / 3.5)


def test_strong_beats_arrivals_silence_and_phrases_of_a_worked_example():
    """Worked by hand: over C the strong beats have E and D, over F7 (A, E♭) an E♭ comes at once."""
    ground = ground_of(read_changes("Cmaj7 | F7"), 1, 0, simplest=True)
    found = measured(
        on_beats((0.0, 1.0, 64), (2.0, 3.0, 62), (4.5, 5.0, 63), (6.0, 6.5, 60)), ground
    )
    assert (found.strong.hits, found.strong.count) == (2.0, 3.0)
    assert (found.arrivals.hits, found.arrivals.count) == (1.0, 1.0)
    assert (found.longest_silence, found.silence_at) == (1.5, 3.0)
    assert found.phrases == pytest.approx((1.0, 1.0, 0.5, 0.5))
    assert found.per_bar == 2.0


@pytest.mark.parametrize(("onset", "over"), [(3.5, (0.0, 1.5)), (3.0, (1.0, 1.0))])
def test_only_what_begins_an_eighth_before_a_chord_is_taken_for_it(onset, over):
    """Held to the first beat of the next bar: an eighth early all of it, a beat early its part."""
    ground = ground_of(read_changes("Dm7 | G7"), 1, 0, simplest=False)
    found = measured([OnBeats(onset, 5.0, 65, True)], ground)
    assert tuple(chord.sounded for chord in found.chords) == over
