"""The table of settings, each explained in one line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.music.theory.instruments import by_family
from coldtake.practice.access import Action, needs
from coldtake.practice.settings_service import PLAYED
from coldtake.settings import BY_NAME, SETTINGS, Setting
from coldtake.web.forms.form_fields import Fields, text_fields

if TYPE_CHECKING:
    from coldtake.practice.services import Services


# Settings in the order in which a day meets them; one that is named nowhere stands at the end.
GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "Your day",
        (
            "session_minutes",
            "starts_at_hour",
            "period_cap",
            "break_minutes",
            "session_most",
            "meal_minutes",
            "quiet_seconds",
            "load_notice",
            "away_days",
            "calendar_alarm",
        ),
    ),
    ("Topics", ("current_topics", "topics_least", "topics_most", "touch_days", "topic_share")),
    ("Slots", ("keep_chance", "cold_minutes", "slot_least", "slot_most", "tightness")),
    (
        "Usually available at home",
        (
            "have_people",
            "have_place",
            "have_instrument",
            "have_piano",
            "have_quiet",
            "have_recorder",
        ),
    ),
    ("Sound", ("a4_hz", "click_volume")),
    (
        "Held-test",
        ("held_test", "held_poor", "held_good", "held_wrong_yes", "held_wrong_no"),
    ),
)


def grouped() -> tuple[tuple[str, tuple[Setting, ...]], ...]:
    """Return every setting once, under its heading."""
    named = {name for _, names in GROUPS for name in names}
    groups = [(words, tuple(BY_NAME[n] for n in names)) for words, names in GROUPS]
    rest = tuple(s for s in SETTINGS if s.name not in named and s.shown)
    return (*groups, *((("Session", rest),) if rest else ()))


def _played(names: tuple[str, ...]) -> tuple[str, ...]:
    """Return one field for each instrument, and one to add another."""
    return (*names, "") if names else ("", "")


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the settings."""
    routes = APIRouter()

    @routes.get("/settings")
    @needs(Action.SEE)
    def show(request: Request) -> Response:
        context = {
            "here": "/settings",
            "groups": grouped(),
            "values": services.settings.all(),
            "not_valid": services.settings.not_valid(),
            "instruments": by_family(),
            "played": _played(services.settings.instruments()),
        }
        return templates.TemplateResponse(request, "settings.html", context)

    @routes.post("/settings")
    @needs(Action.CHANGE_SETTINGS)
    def choose(fields: Fields) -> Response:
        form = text_fields(fields)
        if form.pop(PLAYED, None) is not None:
            named = [n for n in fields.getlist(PLAYED) if isinstance(n, str)]
            services.settings.choose_instruments(named)
        known, not_valid = services.settings.all(), services.settings.not_valid()
        services.settings.choose_all(
            {
                name: text
                for name, text in form.items()  # one field a form in the page; several are fine
                if name in not_valid or name not in known or text.strip() != str(known[name])
            }
        )
        return RedirectResponse("/settings", status_code=303)

    return routes
