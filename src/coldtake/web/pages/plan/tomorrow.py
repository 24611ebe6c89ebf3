"""The evening before: minutes in, a plan out; the player changes what they like."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import TYPE_CHECKING

import msgspec
from fastapi import APIRouter, Request
from starlette.background import BackgroundTask
from starlette.responses import RedirectResponse, Response
from starlette.templating import Jinja2Templates

from coldtake.domain.days import PAUSE
from coldtake.domain.history.appointments import on_day
from coldtake.domain.history.state import State
from coldtake.domain.plan import SESSIONS_MOST, Plan, PlanRequest
from coldtake.errors import InputError, NotFoundError
from coldtake.practice.access import Action, needs
from coldtake.settings import value_of
from coldtake.web.forms import form_fields, requirements
from coldtake.web.forms.form_fields import Fields, text_fields
from coldtake.web.pages.plan import appointments
from coldtake.web.views.day_words import day_remarks, habit_words
from coldtake.web.views.plan_view import (
    asked_again,
    free_words,
    neighbour_place,
    others_of,
    periods_of,
    print_columns,
    print_rows,
)
from coldtake.web.views.stave import one_line_stave, plan_stave

if TYPE_CHECKING:
    from coldtake.practice.services import Services

Form = dict[str, str]
DENSE_FROM = 7  # slots on the printed page from which it is set in two columns


def _moved(plan: Plan, slot_id: str, by: int) -> PlanRequest:
    from coldtake.planning.day import changes

    to = neighbour_place(plan, slot_id, by)
    return changes.pin(plan, slot_id) if to is None else changes.move(plan, slot_id, *to)


def wished(plan: Plan, form: Form) -> PlanRequest:
    """Turn one action of the player into the request that asks for it. Raises InputError."""
    from coldtake.planning.day import changes

    slot_id, step_id = form.get("slot_id", ""), form.get("step_id", "")
    acts: dict[str, Callable[[], PlanRequest]] = {
        "pin": lambda: changes.pin(plan, slot_id),
        "unpin": lambda: changes.unpin(plan, slot_id),
        "earlier": lambda: _moved(plan, slot_id, -1),
        "later": lambda: _moved(plan, slot_id, 1),
        "longer": lambda: changes.longer(plan, slot_id),
        "shorter": lambda: changes.shorter(plan, slot_id),
        "refuse": lambda: changes.refuse(plan, slot_id),
        "swap": lambda: changes.swap(plan, slot_id, step_id),
        "add": lambda: changes.add(plan, step_id),
        "allow": lambda: changes.allow(plan, step_id),
        "reset": lambda: changes.reset(plan),
        "no_run": lambda: msgspec.structs.replace(plan.request, run_through=False),
        "with_run": lambda: msgspec.structs.replace(plan.request, run_through=True),
    }
    act = acts.get(form.get("act", ""))
    if act is None:
        raise InputError(
            "This change of the plan is not known.", remedy="Use the buttons of the page."
        )
    if form.get("act") == "swap" and not step_id:
        raise InputError("No step is chosen.", where="swap", remedy="Choose a step.")
    return act()


def _session_in(services: Services, day: date, form: Form) -> str:
    """Return the session that a form is for; on another day than it showed a new one there."""
    shown = form.get("shown", "")
    elsewhere = bool(shown) and shown != day.isoformat()
    return ("new" if services.plans.plans(day) else "") if elsewhere else form.get("session", "")


def _minutes_in(form: Form) -> str:
    """Return the minutes of the form, or those of the button that was pressed instead."""
    return form.get("minutes_instead") or form.get("minutes", "")


def _at(request: PlanRequest) -> str:
    """Return the address of a session's plan; the first one's is the day's."""
    more = f"&session={request.session}" if request.session > 1 else ""
    return f"/tomorrow?day={request.day}{more}"


SWAPS_MOST = 20  # what a slot offers instead of itself; the rest can be asked for by name below
STAYING = (
    "pin",
    "earlier",
    "later",
    "longer",
    "shorter",
)  # acts after which the slot is still there


def moved_slot(plan: Plan, act: str) -> str:
    """Return the id under which the slot that was acted on stands in the new plan, or nothing.

    Ids count the slots of one step in playing order, so that one moved past another changes its id.
    """
    last = len(plan.request.wishes) - 1
    found = (slot.id for slot in plan.slots if slot.wish == last)
    return next(found, "") if act in STAYING else ""


def day_of(services: Services, text: str) -> date:
    """Return the day that is asked for; the next one where none is."""
    today = services.today()
    if text == "today":
        return today
    return form_fields.day(text, "day", today=today) if text else services.plans.tomorrow()


def _session_of(services: Services, day: date, text: str) -> int:
    """Return the number of a session: the one asked for, else the one whose turn it is.

    When all sessions of today were played that is a further one; “new” asks for one too.
    """
    if text == "new":
        return services.plans.new_session(day)
    if text:
        return form_fields.whole(text, "session", 1, SESSIONS_MOST)
    plan = services.plans.plan(day)
    if plan is None:
        return 1
    again = day == services.today() and services.plans.is_over(plan)
    return services.plans.new_session(day) if again else plan.request.session


def _plan_or_fault(services: Services, day: date, session: str = "") -> Plan:
    number = form_fields.whole(session, "session", 1, SESSIONS_MOST) if session else None
    plan = services.plans.plan(day, number)
    if plan is None:
        remedy = "Enter your minutes and make a plan."
        raise NotFoundError(f"There is no plan for {day.isoformat()} yet.", remedy=remedy)
    return plan


def _context(services: Services, day: date, session: int, plan: Plan | None) -> dict[str, object]:
    state = services.state()
    request = plan.request if plan else services.plans.default_request(day, session)
    return {
        **_days(state, day, services.today()),
        "session": session,
        "sessions": tuple((p, services.plans.is_over(p)) for p in services.plans.plans(day)),
        "here": "/tomorrow",
        "moved": "",
        "day": day,
        "today": services.today(),
        "tomorrow": services.today() + timedelta(days=1),
        "evening_goes_on": services.today() < services.now().date(),
        "pause_hours": PAUSE // timedelta(hours=1),
        "plan": plan,
        "request_now": request,
        "at_hand": requirements.at_hand_ticks(state, request),
        "appointments": appointments.rows_of(services, on_day(state, day)),
        "asked_again": asked_again(state, plan) if plan else (),
        "stave": plan_stave(state, plan) if plan and plan.periods else None,
        "periods": periods_of(state, plan) if plan else (),
        "free": free_words(plan) if plan else "",
        "run_titles": state.topic_titles(plan.run.topic_ids) if plan and plan.run else "",
        "others": others_of(state, plan) if plan else (),
        "swaps_most": SWAPS_MOST,
    }


def _days(state: State, day: date, today: date) -> dict[str, object]:
    """Say what is special about a day: told, shortened, or really played otherwise."""
    from coldtake.planning.day.load import long_day
    from coldtake.planning.day.proposed import proposed_minutes, weekday_habit

    growth, habit = value_of(state.settings, "load_notice"), weekday_habit(state, day)
    long = long_day(state.plans_on(day))
    said = day_remarks(proposed_minutes(state, day, today), growth)
    return {
        "day_remarks": (*said, long) if long else said,
        "habit": habit,
        "habit_words": habit_words(habit, day) if habit else "",
    }


def router(services: Services, templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the plan."""
    routes = APIRouter()

    @routes.get("/tomorrow")
    @needs(Action.SEE)
    def show(request: Request, day: str = "", session: str = "", moved: str = "") -> Response:
        chosen = day_of(services, day)
        number = _session_of(services, chosen, session)
        plan = services.plans.plan(chosen, number)
        context = _context(services, chosen, number, plan) | {"moved": moved}
        return templates.TemplateResponse(request, "tomorrow.html", context)

    @routes.post("/tomorrow")
    @needs(Action.PLAN)
    def propose(request: Request, fields: Fields) -> Response:
        form = text_fields(fields)
        day = day_of(services, form.get("day", ""))
        session = _session_of(services, day, _session_in(services, day, form))
        known = services.plans.plan(day, session)
        wanted = PlanRequest(
            day=day,
            session=session,
            starts_at=form_fields.clock(form.get("starts_at", ""), "start"),
            minutes=form_fields.whole(_minutes_in(form), "minutes", 5, 720, "min"),
        )
        if known is not None:  # what the player insisted on outlives a change of minutes
            wanted = msgspec.structs.replace(
                wanted,
                wishes=known.request.wishes,
                run_through=known.request.run_through,
                at_hand=known.request.at_hand,
                part_of=known.request.part_of,
            )
        at_hand = requirements.read_at_hand(fields, services.state(), wanted)
        wanted = msgspec.structs.replace(wanted, at_hand=at_hand)
        plan = services.plans.propose(wanted)
        if not plan.slots:  # not kept: the page says what to do first
            context = _context(services, day, session, plan)
            return templates.TemplateResponse(request, "tomorrow.html", context)
        later = BackgroundTask(services.reports.say_when_due)
        return RedirectResponse(_at(plan.request), status_code=303, background=later)

    @routes.post("/tomorrow/change")
    @needs(Action.PLAN)
    def change(fields: Fields) -> Response:
        form = text_fields(fields)
        day = day_of(services, form.get("day", ""))
        known = _plan_or_fault(services, day, form.get("session", ""))
        plan = services.plans.change(day, wished(known, form))
        if not plan.slots:
            raise InputError(
                "The plan needs at least one slot.", remedy="Keep one slot, or enter fewer minutes."
            )
        moved = moved_slot(plan, form.get("act", ""))
        tail = f"&moved={moved}" if moved else ""
        return RedirectResponse(f"{_at(plan.request)}{tail}", status_code=303)

    @routes.post("/tomorrow/delete")
    @needs(Action.CHANGE_DATES)
    def delete(fields: Fields) -> Response:
        form = text_fields(fields)
        day = day_of(services, form.get("day", ""))
        known = _plan_or_fault(services, day, form.get("session", ""))
        services.plans.delete(day, known.request.session)
        return RedirectResponse(f"/tomorrow?day={day}", status_code=303)

    @routes.get("/tomorrow/print")
    @needs(Action.SEE)
    def stand(request: Request, day: str = "", session: str = "") -> Response:
        plan = _plan_or_fault(services, day_of(services, day), session)
        state = services.state()
        context = {
            "plan": plan,
            "stave": one_line_stave(state, plan),
            "run_titles": state.topic_titles(plan.run.topic_ids) if plan.run else "",
            "appointments": appointments.rows_of(services, on_day(state, plan.request.day)),
            "columns": print_columns(print_rows(periods_of(state, plan)), DENSE_FROM),
        }
        return templates.TemplateResponse(request, "print.html", context)

    return routes
