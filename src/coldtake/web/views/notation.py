"""Addresses of what a step shows and sounds: its notation, or a chart where it is improvised."""

from __future__ import annotations

from urllib.parse import urlencode

from coldtake.domain.topic import PassageRef, Step, StepPhase

CHART = "chart"  # value of `as` in an address: the chords over bars, instead of the notes
WIDTH_PX = (200, 3000)  # of an image of notation


def bar_query(ref: PassageRef) -> str:
    """Write the bars of a passage as the query of its address."""
    return _query(_bars(ref))


def is_chart(step: Step) -> bool:
    """Say whether a step is improvised, and so is played from a chart."""
    return step.criterion.changes is not None


def is_picture(step: Step) -> bool:
    """Say whether a step is played from a picture of its page: there are no notes to judge by."""
    return step.exercise.passage is None and bool(step.exercise.marked)


def notation_path(step: Step) -> str:
    """Return the address of a step's music as an image at its own tempo, empty when it has none."""
    from coldtake.planning.tempi import tempi_of

    if is_picture(step):
        return f"/passages/of-step/{step.id}.svg"
    tempi = tempi_of(step, (), StepPhase.OPEN)
    if tempi.target is None or is_chart(step):
        return _path(step, "svg")
    mark = {"mark": f"{tempi.target:g}", "unit": f"{tempi.unit_beats:g}"}
    return _path(step, "svg", mark)


def music_name(step: Step) -> str:
    """Name what is played, whatever its tempo: the same music is shown once."""
    return notation_path(step) if is_picture(step) else _path(step, "svg")


def sound_path(step: Step) -> str:
    """Return the address of a step's music as it sounds at its tempo, empty without any."""
    bpm = step.exercise.tempo_bpm
    return _path(step, "wav", {"bpm": f"{bpm:g}"} if bpm else {})


def _path(step: Step, kind: str, more: dict[str, str] | None = None) -> str:
    ref = step.exercise.passage
    if ref is None:
        return ""
    shown = {"as": CHART} if is_chart(step) else {}
    return f"/passages/{ref.passage_id}.{kind}{_query({**_bars(ref), **shown, **(more or {})})}"


def _bars(ref: PassageRef) -> dict[str, str]:
    return {n: str(b) for n, b in (("first", ref.first_bar), ("last", ref.last_bar)) if b}


def _query(fields: dict[str, str]) -> str:
    return f"?{urlencode(fields)}" if fields else ""
