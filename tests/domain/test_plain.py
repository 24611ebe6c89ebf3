"""What a verdict is made of takes plain Python values, and refuses others where they are made."""

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from coldtake.domain.take import (
    Answer,
    ChordHeard,
    ClickHeard,
    ClickTrack,
    Figure,
    NoteEvidence,
    NoteStatus,
    Restart,
    Verdict,
)

WHOLE = {
    Figure: {"name": "notes", "value": 1.0, "uncertainty": 0.5, "threshold": 2.0, "unit": "notes",
             "passed": True},
    NoteEvidence: {"id": "n0", "status": NoteStatus.RIGHT, "expected_pitch": 60, "onset_s": 0.5,
                   "offset_s": 0.9, "pitch": 60.1, "cents": 10.0, "displaced": False},
    Restart: {"at_s": 1.0, "to_beat": 4.0},
    ClickTrack: {"first_s": 0.0, "every_s": 0.5, "per_bar": 4},
    ClickHeard: {"delay_start_ms": 1.0, "delay_end_ms": 1.0, "error_ms": 1.0, "level_db": -20.0,
                 "clicks": 8, "steady": True},
    ChordHeard: {"chorus": 0, "bar_index": 0, "symbol": "C7", "onset_beats": 0.0, "beats": 4.0,
                 "from_s": 0.5, "to_s": 2.5, "notes": 8, "sounded": 0.9, "in_scale": 1.0,
                 "arrived": True},
    Verdict: {"answer": Answer.YES, "reason": "", "tempo_bpm": 90.0, "tests": (), "notes": (),
              "engine": "", "tuning_cents": 3.0, "tempo_curve": ((0.0, 90.0),)},
}  # fmt: skip
NUMPYS = {bool: np.bool_, int: np.int64, float: np.float64}
FIELDS = [
    (kind, name, value)
    for kind, fields in WHOLE.items()
    for name, value in fields.items()
    if type(value) in NUMPYS
]


@pytest.mark.parametrize(("kind", "name", "value"), FIELDS)
def test_a_number_of_numpy_is_refused_and_named(kind, name, value):
    assert kind(**WHOLE[kind])
    own = NUMPYS[type(value)](value)
    with pytest.raises(TypeError, match=rf"{kind.__name__}\.{name} is .* \(numpy\."):
        kind(**{**WHOLE[kind], name: own})
    with pytest.raises(TypeError, match="plain Python values"):
        kind(**{**WHOLE[kind], name: np.array(value)})


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_what_is_no_number_is_refused(value):
    for kind, name, known in FIELDS:
        if type(known) is float:
            with pytest.raises(ValueError, match=rf"{kind.__name__}\.{name} is -?(nan|inf)"):
                kind(**{**WHOLE[kind], name: value})


@pytest.mark.parametrize(
    "curve", [((0.0, np.float64(90.0)),), ((0.0, float("nan")),), [(0.0, 90.0)], ({},)]
)
def test_a_tempo_curve_is_looked_into(curve):
    with pytest.raises((TypeError, ValueError), match=r"Verdict\.tempo_curve is "):
        Verdict(**{**WHOLE[Verdict], "tempo_curve": curve})


@pytest.mark.parametrize("made", [dict, set, lambda: b"", lambda: np.zeros(1), object])
def test_only_what_the_log_can_hold(made):
    with pytest.raises(TypeError, match=r"NoteEvidence\.words is "):
        NoteEvidence(**{**WHOLE[NoteEvidence], "words": made()})


def test_changed_is_looked_at_again():
    figure = Figure(**WHOLE[Figure])
    with pytest.raises(TypeError, match=r"Figure\.value"):
        msgspec.structs.replace(figure, value=np.float32(0.5))


plain = st.floats(allow_nan=False, allow_infinity=False, width=32)


@given(st.lists(st.tuples(plain, plain)), plain, st.none() | plain, st.booleans() | st.none())
def test_whatever_is_taken_is_read_back_the_same(curve, value, tempo, passed):
    verdict = Verdict(
        **{
            **WHOLE[Verdict],
            "tempo_bpm": tempo,
            "tempo_curve": tuple(curve),
            "tests": (Figure(**{**WHOLE[Figure], "value": value, "passed": passed}),),
            "notes": (NoteEvidence(**{**WHOLE[NoteEvidence], "onset_s": tempo}),),
        }
    )
    assert msgspec.json.decode(msgspec.json.encode(verdict), type=Verdict) == verdict
