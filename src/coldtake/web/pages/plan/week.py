"""The week at a glance: seven days, each one touch from its plan, and days not as usual."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.days import monday_of
from coldtake.domain.instants import check_date
from coldtake.domain.told_days import MINUTES_MOST, WEEKDAYS, DayKind
from coldtake.planning.value.at_hand_words import appointment_name
from coldtake.practice.access import Action, needs
from coldtake.practice.plans.week import week_of
from coldtake.settings import value_of
from coldtake.web.forms import form_fields
from coldtake.web.forms.form_fields import Fields, text_fields
from coldtake.web.views.day_words import KIND, told_words

if TYPE_CHECKING:
    from coldtake.practice.services import Services

# ISO 8601 numbers them from Monday on; this Monday is any.
NAMES = tuple(f"{date(2027, 1, 3) + timedelta(days=n):%A}" for n in WEEKDAYS)
WEEK = timedelta(days=len(WEEKDAYS))


def _day_of(services: Services, text: str) -> date:
    today = services.today()
    day = form_fields.past_day(text, "day") if text else today
    check_date(day, today, "day")
    return day


def _context(services: Services, day: date) -> dict[str, object]:
    state, monday = services.state(), monday_of(day)
    return {
        "here": "/week",
        "today": services.today(),
        "monday": monday,
        "before": monday - WEEK,
        "after": monday + WEEK,
        "rows": week_of(state, day, services.now(), services.today()),
        "kinds": KIND,
        "told_words": told_words,
        "appointment_name": appointment_name,
        "weekdays": tuple(zip(WEEKDAYS, NAMES, strict=True)),
        "habits": state.weekdays_told,
        "usual": value_of(state.settings, "session_minutes"),
    }


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the week."""
    routes = APIRouter()

    @routes.get("/week")
    @needs(Action.SEE)
    def show(request: Request, day: str = "") -> Response:
        context = _context(services, _day_of(services, day))
        context["feed"] = str(request.url_for("feed"))
        return templates.TemplateResponse(request, "week.html", context)

    @routes.post("/week/days")
    @needs(Action.CHANGE_DATES)
    def tell(fields: Fields) -> Response:
        form = text_fields(fields)
        first = form_fields.past_day(form.get("first", ""), "first day")
        last = form.get("last", "").strip()
        services.told_days.tell(
            first,
            form_fields.past_day(last, "last day") if last else first,
            form_fields.one_of(DayKind, form.get("what", ""), "type"),
            form_fields.maybe_whole(form.get("minutes", ""), "minutes", 0, MINUTES_MOST, "min"),
        )
        return RedirectResponse(f"/week?day={first}", status_code=303)

    @routes.post("/week/weekdays")
    @needs(Action.CHANGE_DATES)
    def tell_weekdays(fields: Fields) -> Response:
        form = text_fields(fields)
        minutes = {
            n: form_fields.maybe_whole(form.get(f"minutes-{n}", ""), name, 0, MINUTES_MOST, "min")
            for n, name in zip(WEEKDAYS, NAMES, strict=True)
        }
        services.told_days.tell_weekdays(minutes)
        return RedirectResponse("/week#weekdays", status_code=303)

    return routes
