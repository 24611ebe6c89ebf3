"""Notation by itself, as an image that any page can show, and as it would sound."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from fastapi import APIRouter
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.domain.topic import PassageRef
from coldtake.errors import InputError
from coldtake.units import beats_to_s
from coldtake.web import forms

if TYPE_CHECKING:
    from coldtake.music.passage import Passage
    from coldtake.practice.services import Services

WIDTH_PX = (200, 3000)
TEMPO_BPM = (10, 400)  # quarter notes per minute
PLAIN_BPM = 80.0  # where neither the exercise nor the page names a tempo
SOUND_MOST_S = 600.0
_RATE = 32_000  # Hz; the voice has nothing above half of it


def as_wav(passage: Passage, bpm: float, a4_hz: float) -> bytes:
    """Render a passage at a steady tempo as a 16-bit WAV. Raises InputError when it is too long."""
    if beats_to_s(passage.length_beats, bpm) > SOUND_MOST_S:
        raise InputError(
            "This would sound for more than ten minutes.",
            where="passage",
            remedy="Choose fewer bars, or a faster tempo.",
        )
    import soundfile

    from coldtake.music.sounding import schedule
    from coldtake.music.synth import render

    wav = io.BytesIO()
    samples = render(schedule(passage, bpm), rate=_RATE, a4_hz=a4_hz)
    soundfile.write(wav, samples, _RATE, subtype="PCM_16", format="WAV")
    return wav.getvalue()


def _reference(passage_id: str, first: str, last: str) -> PassageRef:
    return PassageRef(
        passage_id=passage_id,
        first_bar=forms.maybe_whole(first, "first bar", 1, 100_000),
        last_bar=forms.maybe_whole(last, "last bar", 1, 100_000),
    )


def router(services: Services, _templates: Jinja2Templates) -> APIRouter:
    """Build the routes of notation and sound."""
    routes = APIRouter()

    @routes.get("/passages/{passage_id}.svg")
    def notation(passage_id: str, first: str = "", last: str = "", width: str = "900") -> Response:
        from coldtake.music.engraving import engrave

        passage = services.pile.passages.selected(_reference(passage_id, first, last))
        svg = engrave(passage, width_px=forms.whole(width, "width", *WIDTH_PX))
        return Response(svg, media_type="image/svg+xml", headers={"Cache-Control": "no-cache"})

    @routes.get("/passages/{passage_id}.wav")
    def sound(passage_id: str, first: str = "", last: str = "", bpm: str = "") -> Response:
        tempo = forms.maybe_number(bpm, "tempo", *TEMPO_BPM)
        passage = services.pile.passages.selected(_reference(passage_id, first, last))
        a4_hz = services.settings.all()["a4_hz"]
        wav = as_wav(passage, tempo or passage.written_bpm or PLAIN_BPM, a4_hz)
        return Response(wav, media_type="audio/wav", headers={"Cache-Control": "no-cache"})

    return routes
