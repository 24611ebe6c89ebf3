"""What the session page's scripts ask for and send. Everything that changes may be sent again.

GET  /api/session          -> what `session_data.snapshot` returns
POST /api/session/start    {"day": "2026-11-26"} -> the same, with the session begun (or running)
POST /api/session/lead     {"device", "session_id", "name", "claims", "take", "seen"} -> {"leads",
                           "by", "quiet_s", "events" since `seen`, "seen"}
PUT  /api/takes/{take_id}  ?step_id&session_id&slot_id&at&day&click_bpm&click&source&judge&cold,
                           body a sound file -> {"take", "verdict", "failed", "events", "waiting"};
                           with judge=no it is only kept; click is JSON (`domain.take.ClickTrack`);
                           cold=yes or cold=no says whether it was the step's first try of the
                           day, where it belongs to no session; as long as nothing is said,
                           take.cold is null, and the take is no cold one (POST /takes/{id}/answer);
                           failed is {"what", "remedy"} where judging failed, the take is kept
POST /takes/{take_id}/listen  asked for JSON: judge it (again) -> the same
POST /api/events           [event, ...] -> {"kept": [id], "refused": [{"id", "why"}], "waiting":
                           [{"id", "why"}]}, of those kept: their date cannot be ("before",
                           "after", "apart"), so they wait on the data page for their day
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import TYPE_CHECKING, Annotated, Any
from uuid import UUID

import msgspec
from fastapi import APIRouter, Request
from msgspec import Meta
from msgspec.structs import replace
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response
from starlette.templating import Jinja2Templates

from coldtake.domain.take import FirstTry, NewTake, Take, Verdict
from coldtake.errors import InputError, JudgingError, NotFoundError
from coldtake.practice.access import Action, needs
from coldtake.subprocesses.sent_json import MOST_INTEGER
from coldtake.subprocesses.sent_json import read as read_json
from coldtake.web.forms.form_fields import one_of
from coldtake.web.session_leader import Leads
from coldtake.web.views import session_data

if TYPE_CHECKING:
    from coldtake.practice.services import Services

EVENTS_MOST = 5000


class StartRequest(msgspec.Struct, frozen=True):
    """Which day's plan to begin; None for today's."""

    day: date | None = None


class AskLead(msgspec.Struct, frozen=True, kw_only=True):
    """A device asks whether it leads; see `lead.Leads`. Without a session it asks for one."""

    device: Annotated[str, Meta(min_length=1, max_length=64)]
    session_id: str = ""
    name: Annotated[str, Meta(max_length=60)] = ""
    claims: bool = False
    take: bool = False
    seen: Annotated[int, Meta(ge=0, le=MOST_INTEGER)] = 0


def reply(value: Any) -> Response:
    """Return JSON that no browser keeps."""
    headers = {"Cache-Control": "no-store"}
    return Response(msgspec.json.encode(value), media_type="application/json", headers=headers)


def _start(body: bytes) -> StartRequest:
    try:
        wanted: StartRequest = read_json(body or b"{}", StartRequest)
    except msgspec.DecodeError as error:
        raise InputError(
            f"The start of the session cannot be read: {error}.", remedy="Load the page again."
        ) from error
    return wanted


def _ask(body: bytes) -> AskLead:
    try:
        ask: AskLead = read_json(body, AskLead)
    except msgspec.DecodeError as error:
        raise InputError(
            f"What was asked about the lead cannot be read: {error}.", remedy="Load the page again."
        ) from error
    return ask


def _told(services: Services, leads: Leads, ask: AskLead) -> dict[str, Any]:
    running = services.sessions.running()
    session_id = ask.session_id or (running.id if running else "")
    seen, events = services.sessions.news(session_id, ask.seen)
    if not session_id:
        return {"leads": True, "by": "", "quiet_s": 0.0, "events": [], "seen": ask.seen}
    told = leads.ask(session_id, ask.device, ask.name, claims=ask.claims, take=ask.take)
    return {
        "leads": told.leads,
        "by": told.by,
        "quiet_s": told.quiet_s,
        "events": [session_data.shortened(e) for e in events],
        "seen": seen,
    }


def _events(body: bytes) -> list[bytes]:
    """Split the list that was sent; each event is read on its own, a bad one stops no other."""
    try:
        raw = read_json(body, list[msgspec.Raw])
    except msgspec.DecodeError as error:
        raise InputError(
            f"The events that were sent cannot be read: {error}.",
            remedy="Nothing was kept. Send a JSON list of events.",
        ) from error
    if len(raw) > EVENTS_MOST:
        raise InputError(
            f"{len(raw)} events came at once; {EVENTS_MOST} is the limit.",
            remedy="Nothing was kept. Send them in parts.",
        )
    return [bytes(one) for one in raw]


def _new_take(request: Request, take_id: str) -> NewTake:
    query: dict[str, Any] = {k: v for k, v in request.query_params.items() if v != ""}
    cold = one_of(FirstTry, query.get("cold", FirstTry.NOT_SAID), "cold")
    query |= {"take_id": take_id, "first_try": cold}
    query["to_judge"] = query.get("judge") not in ("no", "0", "false")
    try:
        if "click" in query:
            query["click"] = read_json(query["click"])
        new = msgspec.convert(query, type=NewTake, strict=False)
    except msgspec.DecodeError as error:
        raise InputError(f"What was said of the take cannot be read: {error}.") from error
    if new.at is not None and new.at.tzinfo is None:
        raise InputError("The take's instant has no zone.", where="at", remedy="Add Z or +01:00.")
    return new


def _check_id(take_id: str) -> None:
    try:
        UUID(take_id)
    except ValueError as error:
        raise InputError(
            f"“{take_id[:60]}” is no id of a take.", remedy="Give a UUID made for this take."
        ) from error


def keep_take(services: Services, new: NewTake, sound: bytes) -> dict[str, Any]:
    """Keep a take and listen to it; what the log says of it comes along for the page."""
    new = replace(new, first_try=_first_try(services, new))
    take = services.takes.keep(sound, new, f"{new.take_id}.wav")
    waits = services.takes.is_misdated(take.id)
    judge = services.takes.judge if new.to_judge and not waits else None
    return {**judged(services, take, judge), "waiting": waits}


def _first_try(services: Services, new: NewTake) -> FirstTry | None:
    """What is said of the day's first try; nothing in a session, or of a run-through's piece."""
    state, take_id = services.state(), new.take_id or ""
    known = take_id.lower() in state.takes or take_id.lower() in state.takes_deleted
    if known or new.session_id or new.step_id not in state.steps:
        return None
    return services.takes.by_hand(new.step_id, new.first_try or FirstTry.NOT_SAID, new.day)


def judged(
    services: Services, take: Take, judge: Callable[[str], Verdict] | None
) -> dict[str, Any]:
    """Judge a take (None: leave it as it is) and say what came of it, a failure included."""
    verdict, failed = take.verdict, None
    try:
        verdict = judge(take.id) if judge else verdict
    except (JudgingError, NotFoundError) as fault:  # its step may have been deleted meanwhile
        failed = {"what": fault.what, "remedy": fault.remedy}
    return {
        "take": {
            "id": take.id,
            "duration_s": take.duration_s,
            "cold": None if take.first_try is FirstTry.NOT_SAID else take.cold,
        },
        "verdict": session_data.short_verdict(verdict) if verdict else None,
        "failed": failed,
        "events": _take_events(services, take.id, take.session_id),
    }


def _take_events(services: Services, take_id: str, session_id: str | None) -> list[dict[str, Any]]:
    if session_id is None:
        return []
    events = services.sessions.events(session_id)
    return [
        session_data.shortened(e) for e in events if getattr(e.data, "take_id", None) == take_id
    ]


def router(services: Services, _templates: Jinja2Templates) -> APIRouter:
    """Build the routes of the session page's scripts."""
    routes = APIRouter(prefix="/api")
    leads = Leads()

    @routes.get("/session")
    @needs(Action.SEE)
    def session() -> Response:
        return reply(session_data.snapshot(services))

    @routes.post("/session/start")
    @needs(Action.PLAY)
    async def start(request: Request) -> Response:
        wanted = _start(await request.body())
        await run_in_threadpool(services.sessions.start, wanted.day)
        return reply(await run_in_threadpool(session_data.snapshot, services))

    @routes.post("/session/lead")
    @needs(Action.PLAY)
    async def lead(request: Request) -> Response:
        ask = _ask(await request.body())
        return reply(await run_in_threadpool(_told, services, leads, ask))

    @routes.post("/events")
    @needs(Action.PLAY)
    async def events(request: Request) -> Response:
        raw = _events(await request.body())
        receipt = await run_in_threadpool(services.sessions.record, raw)
        refused = [{"id": i, "why": why} for i, why in receipt.refused]
        waiting = [{"id": i, "why": why} for i, why in receipt.misdated]
        return reply({"kept": receipt.kept, "refused": refused, "waiting": waiting})

    @routes.put("/takes/{take_id}")
    @needs(Action.PLAY)
    async def take(request: Request, take_id: str) -> Response:
        new = _new_take(request, take_id)
        _check_id(take_id)
        sound = await request.body()
        return reply(await run_in_threadpool(keep_take, services, new, sound))

    return routes
