"""A chart as the pages show it: an image in two widths, and its changes as they are heard."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from typing import TYPE_CHECKING

from coldtake.music.notation.engraving.chart_drawing import chart_svg
from coldtake.music.notation.reading.charts import Chart, chart_of
from coldtake.music.playback.accompaniment import accompany, feels_for
from coldtake.music.playback.sounding import SoundedNote
from coldtake.units import beats_to_s
from coldtake.web.views.sound_score import sounding_changes

if TYPE_CHECKING:
    from coldtake.music.passage import Passage

NARROW_BARS = 2  # in a row on a phone
NARROW_PX = 480


def chart_image(chart: Chart, width_px: int) -> str:
    """Return a chart as one SVG, every bar with its id, so that it can be pointed at."""
    narrow = width_px < NARROW_PX
    return pointed(chart_svg(chart, NARROW_BARS) if narrow else chart_svg(chart))


def passage_chart(passage: Passage, width_px: int) -> str | None:
    """Return the chart of a passage's chord symbols as an image, None without any."""
    chart = chart_of(passage)
    return None if chart is None else chart_image(chart, width_px)


def pointed(svg: str) -> str:
    """Give every bar of a chart's drawing its id, so that it can be pointed at and followed."""
    root = ET.fromstring(svg)
    bars = (g for g in root.iter() if g.get("class") == "bar")
    for number, bar in enumerate(bars):
        bar.set("id", f"bar-{number}")
        bar.set("class", "bar measure")
    text = ET.tostring(root, encoding="unicode")
    return re.sub(r"(</?)svg:", r"\1", text).replace("xmlns:svg=", "xmlns=")


def as_accompanied(passage: Passage, bpm: float) -> tuple[SoundedNote, ...]:
    """Return bass and chords of a passage's changes at a steady tempo, () without chords."""
    changes = sounding_changes(passage)
    feels = feels_for(changes) if changes else ()
    if changes is None or not feels:
        return ()
    return tuple(
        SoundedNote(
            f"{note.part}-{number}",
            beats_to_s(note.onset_beats, bpm),
            beats_to_s(note.beats, bpm),
            note.pitch,
        )
        for number, note in enumerate(accompany(changes, feels[0].name))
    )
