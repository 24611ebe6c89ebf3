"""Notation by itself: as an image that any page can show, as it sounds, and a page to hear it."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.topic import PassageRef
from coldtake.errors import InputError
from coldtake.music.notation.reading.charts import chart_of
from coldtake.music.notation.tempo_on_page import at_tempo
from coldtake.music.playback.sounding import schedule
from coldtake.practice.access import Action, needs
from coldtake.units import METRONOME_MARKS, beats_to_s
from coldtake.web.forms import form_fields
from coldtake.web.views.chart_view import as_accompanied, passage_chart
from coldtake.web.views.notation import CHART, WIDTH_PX, bar_query, is_chart
from coldtake.web.views.sound_score import (
    PLAIN_BPM,
    bars_of,
    beat_unit,
    changes_score,
    feels_of,
    sound_score,
)

if TYPE_CHECKING:
    from coldtake.domain.topic import Step
    from coldtake.music.passage import Passage
    from coldtake.practice.services import Services

TEMPO_BPM = (10, 400)  # quarter notes per minute
SOUND_MOST_S = 600.0
BARS_SHOWN = 64  # on one page; longer music is turned over like pages
_RATE = 32_000  # Hz; the voice has nothing above half of it
As = Annotated[str, Query(alias="as")]  # CHART, or empty
TONES = ("C", "D♭", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")


def image_of(passage: Passage, width_px: int, shown: str = "") -> str:
    """Return a passage as an SVG: its notation, or as a chart where it has chord symbols."""
    from coldtake.music.notation.engraving.engraver import engrave

    chart = passage_chart(passage, width_px) if shown == CHART else None
    return chart or engrave(passage, width_px=width_px)


def as_wav(passage: Passage, bpm: float, a4_hz: float, shown: str = "") -> bytes:
    """Render a passage at a steady tempo as a 16-bit WAV; a chart as bass and chords.

    Raises InputError when it is too long.
    """
    if beats_to_s(passage.length_beats, bpm) > SOUND_MOST_S:
        raise InputError(
            "This lasts more than ten minutes.",
            where="passage",
            remedy="Choose fewer bars, or a faster tempo.",
        )
    import soundfile

    from coldtake.music.playback.synth import render

    wav = io.BytesIO()
    band = as_accompanied(passage, bpm) if shown == CHART else ()
    samples = render(band or schedule(passage, bpm), rate=_RATE, a4_hz=a4_hz)
    soundfile.write(wav, samples, _RATE, subtype="PCM_16", format="WAV")
    return wav.getvalue()


def _reference(passage_id: str, first: str, last: str) -> PassageRef:
    return PassageRef(
        passage_id=passage_id,
        first_bar=form_fields.maybe_whole(first, "first bar", 1, 100_000),
        last_bar=form_fields.maybe_whole(last, "last bar", 1, 100_000),
    )


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of notation and sound."""
    routes = APIRouter()

    @routes.get("/passages/{passage_id}.svg")
    @needs(Action.SEE)
    def notation(
        passage_id: str,
        first: str = "",
        last: str = "",
        width: str = "900",
        shown: As = "",
        mark: str = "",
        unit: str = "1",
    ) -> Response:
        passage = services.passages.selected(_reference(passage_id, first, last))
        tempo = form_fields.maybe_number(mark, "tempo", 1, 400)
        if tempo is not None:
            passage = at_tempo(passage, tempo, form_fields.number(unit, "beat", 0.05, 8))
        svg = image_of(passage, form_fields.whole(width, "width", *WIDTH_PX), shown)
        return Response(svg, media_type="image/svg+xml", headers={"Cache-Control": "no-cache"})

    @routes.get("/passages/{passage_id}.wav")
    @needs(Action.SEE)
    def sound(
        passage_id: str, first: str = "", last: str = "", bpm: str = "", shown: As = ""
    ) -> Response:
        tempo = form_fields.maybe_number(bpm, "tempo", *TEMPO_BPM)
        passage = services.passages.selected(_reference(passage_id, first, last))
        a4_hz = services.settings.all()["a4_hz"]
        wav = as_wav(passage, tempo or passage.written_bpm or PLAIN_BPM, a4_hz, shown)
        return Response(wav, media_type="audio/wav", headers={"Cache-Control": "no-cache"})

    @routes.get("/passages/{passage_id}.json")
    @needs(Action.SEE)
    def score(
        passage_id: str,
        first: str = "",
        last: str = "",
        feel: str = "",
        only: str = "",
        shown: As = "",
    ) -> Response:
        passage = services.passages.selected(_reference(passage_id, first, last))
        if only == "bars":
            return JSONResponse({"bars": bars_of(passage)})
        a4_hz = services.settings.all()["a4_hz"]
        chart = chart_of(passage) if shown == CHART else None
        if chart is not None:
            shift = passage.transposition
            return JSONResponse(changes_score(chart, a4_hz=a4_hz, feel=feel, transposition=shift))
        return JSONResponse(sound_score(passage, a4_hz=a4_hz, feel=feel))

    @routes.post("/passages/{passage_id}/compared")
    @needs(Action.CHANGE_TOPICS)
    def compared(passage_id: str) -> Response:
        stored = services.passages.compare(passage_id)
        return RedirectResponse(f"/passages/{stored.id}", status_code=303)

    @routes.get("/passages/{passage_id}")
    @needs(Action.SEE)
    def hear(
        request: Request,
        passage_id: str,
        first: str = "",
        last: str = "",
        bpm: str = "",
        step: str = "",
    ) -> Response:
        ref = _reference(passage_id, first, last)
        tempo = form_fields.maybe_number(bpm, "tempo", *TEMPO_BPM)
        owner = services.state().steps.get(step)
        context = _context(services, ref, tempo, owner)
        return templates.TemplateResponse(request, "hear.html", context)

    return routes


def shown(ref: PassageRef, bars: int) -> PassageRef:
    """Return what one page shows of so many bars: as asked, and not more than it can hold."""
    first, last = ref.first_bar or 1, ref.last_bar or bars
    if not 1 <= first <= last <= bars or last - first < BARS_SHOWN:
        return ref  # whoever reads the passage says what is wrong with bars that are not there
    return PassageRef(passage_id=ref.passage_id, first_bar=first, last_bar=first + BARS_SHOWN - 1)


def _turning(ref: PassageRef, bars: int) -> list[tuple[str, str]]:
    """Return words and address of the bars before and after those of a page."""
    first, last = ref.first_bar or 1, ref.last_bar or bars
    pages = []
    if first > 1:
        pages.append((max(1, first - BARS_SHOWN), first - 1))
    if last < bars:
        pages.append((last + 1, min(bars, last + BARS_SHOWN)))
    return [
        (f"Bars {a} to {b}", f"/passages/{ref.passage_id}?{urlencode({'first': a, 'last': b})}")
        for a, b in pages
    ]


def _context(
    services: Services, asked: PassageRef, tempo: float | None, owner: Step | None
) -> dict[str, Any]:
    """Return what the page to hear a passage shows."""
    stored = services.state().passages.get(asked.passage_id)
    whole = services.passages.read(asked.passage_id)
    ref = shown(asked, len(whole.bars))
    passage = services.passages.selected(ref)
    unit = owner.exercise.click.beat_unit_beats if owner else beat_unit(passage)
    values = services.settings.all()
    key = passage.bars[0].key_fifths if passage.bars else 0
    chart = owner is not None and is_chart(owner) and chart_of(passage) is not None
    query = bar_query(ref)
    if chart:
        query = f"{query}{'&' if query else '?'}as={CHART}"
    bpm = tempo or (owner.exercise.tempo_bpm if owner else None) or passage.written_bpm or PLAIN_BPM
    beats = round(4 * passage.bars[0].metre[0] / passage.bars[0].metre[1] / unit)
    return {
        "here": "",
        "title": stored.title if stored else passage.title,
        "to_compare": stored if stored and stored.to_compare else None,
        "owner": owner,
        "ref": ref,
        "score": f"/passages/{ref.passage_id}.json{query}",
        "svg": f"/passages/{ref.passage_id}.svg{query}",
        "wav": f"/passages/{ref.passage_id}.wav{query}",
        "voiced": not chart,
        "offset": (ref.first_bar or 1) - 1,
        "bars": len(passage.bars),
        "turning": _turning(ref, len(whole.bars)),
        "unit": unit,
        "mark": bpm / unit,
        "beats": max(1, min(beats, 12)),
        "count_in": owner.exercise.click.count_in_bars if owner else 1,
        "marks": METRONOME_MARKS,
        "feels": feels_of(passage),
        "tones": TONES,
        "tonic": (7 * key + passage.transposition) % 12,
        "a4_hz": values["a4_hz"],
        "click_volume": values["click_volume"],
    }
