"""The editor's fields for improvising over changes and for rhythm, to tests and back."""

from collections.abc import Mapping

import msgspec

from coldtake.domain.criterion import ChangesTest, RhythmTest
from coldtake.errors import PassageError, RuleError
from coldtake.music.theory.tones import pitch_name, read_pitch
from coldtake.web.forms import form_fields

Form = Mapping[str, str]
FIRST_GUESS: dict[str, str] = {
    "changes_choruses": "1",
    "changes_in_scale": "85",
    "changes_simplest": "",
    "changes_strong": "",
    "changes_arrivals": "",
    "changes_silence": "8",
    "changes_phrase": "",
    "changes_least": "",
    "changes_most": "",
    "changes_lowest": "",
    "changes_highest": "",
    "rhythm_share": "90",
    "rhythm_percent": "20",
    "rhythm_swing": "",
    "rhythm_swing_within": "20",
}
_SHARES = (
    ("in_scale_percent", "changes_in_scale", "in a scale of the chord"),
    ("strong_beats_percent", "changes_strong", "chord tones on strong beats"),
    ("arrivals_percent", "changes_arrivals", "changes met by a third or seventh"),
)
_SIZES = (
    ("silence_beats", "changes_silence", "longest silence", "beats"),
    ("phrase_beats", "changes_phrase", "longest phrase", "beats"),
    ("least_per_bar", "changes_least", "least notes per bar", ""),
    ("most_per_bar", "changes_most", "most notes per bar", ""),
)
_ENDS = (("lowest", "changes_lowest"), ("highest", "changes_highest"))


def read_changes(form: Form) -> ChangesTest:
    """Read what is asked of an improvisation. Raises InputError, RuleError."""
    shares = {n: form_fields.maybe_number(form.get(f, ""), w, 0, 100, "%") for n, f, w in _SHARES}
    sizes = {n: form_fields.maybe_number(form.get(f, ""), w, 0.1, 999, u) for n, f, w, u in _SIZES}
    ends = {name: _pitch(form.get(field, "")) for name, field in _ENDS}
    if not any(v is not None for v in (*shares.values(), *sizes.values(), *ends.values())):
        raise RuleError(
            "The improvisation has no test.",
            where="changes",
            remedy="Fill in at least one field.",
        )
    if None not in ends.values() and ends["lowest"] > ends["highest"]:  # type: ignore[operator]
        raise RuleError(
            "The lowest note is above the highest.", where="changes", remedy="Change one of them."
        )
    choruses = form_fields.whole(form.get("changes_choruses") or "1", "choruses", 1, 12)
    simplest = bool(form.get("changes_simplest"))
    test = ChangesTest(choruses=choruses, simplest=simplest, **ends)
    return msgspec.structs.replace(test, **shares, **sizes)


def _pitch(text: str) -> int | None:
    """A note name such as "E♭4" to its MIDI number, as the player reads it."""
    if not text.strip():
        return None
    try:
        midi = read_pitch(text.strip()[:1].upper() + text.strip()[1:]).midi
    except PassageError as fault:
        remedy = "Write it with its octave, such as E♭4; middle C is C4."
        raise RuleError(fault.what, where="range", remedy=remedy) from None
    if not 0 <= midi <= 127:
        raise RuleError(
            f"“{text}” is outside the range of all instruments.", where="range", remedy="Change it."
        )
    return midi


def changes_fields(test: ChangesTest) -> dict[str, str]:
    """The fields that say a test."""
    found = {"changes_choruses": str(test.choruses), "changes_simplest": "1" * test.simplest}
    for name, field, *_ in (*_SHARES, *_SIZES):
        value: float | None = getattr(test, name)
        found[field] = "" if value is None else f"{value:g}"
    for name, field in _ENDS:
        pitch: int | None = getattr(test, name)
        found[field] = "" if pitch is None else pitch_name(pitch)
    return found


def read_rhythm(form: Form) -> RhythmTest:
    """Read what is asked of note lengths. Raises InputError."""
    return RhythmTest(
        share_percent=form_fields.number(
            form.get("rhythm_share", ""), "share of notes", 0, 100, "%"
        ),
        tolerance_percent=form_fields.number(
            form.get("rhythm_percent", ""), "note lengths", 1, 100, "%"
        ),
        swing=form_fields.maybe_number(form.get("rhythm_swing", ""), "swing", 1, 4),
        swing_within_percent=form_fields.number(
            form.get("rhythm_swing_within") or "20", "swing within", 1, 100, "%"
        ),
    )


def rhythm_fields(test: RhythmTest) -> dict[str, str]:
    """The fields that say a test."""
    return {
        "rhythm_share": f"{test.share_percent:g}",
        "rhythm_percent": f"{test.tolerance_percent:g}",
        "rhythm_swing": "" if test.swing is None else f"{test.swing:g}",
        "rhythm_swing_within": f"{test.swing_within_percent:g}",
    }
