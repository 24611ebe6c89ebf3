"""The practice that a request is about, as whoever sent it may have it; bound once per request.

Pages are built over `practice()`. What they ask of it goes to the use cases of the present request,
held against the table of rights (`practice.access`). A task begun in a request keeps its rights.
"""

from __future__ import annotations

from contextvars import ContextVar
from typing import TYPE_CHECKING, Any, cast

from coldtake.practice.access import Kind, denied

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

    from coldtake.practice.access import Actor
    from coldtake.practice.services import House, Services

ACTOR = "coldtake.actor"  # in the scope: who asks, as the gate found out (`access.Actor`)
_present: ContextVar[Services] = ContextVar("practice")


class Binding:
    """ASGI middleware behind the gate: binds the practice to the request."""

    def __init__(self, app: ASGIApp, *, house: House) -> None:
        self._app = app
        self._house = house

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on as its actor's."""
        if ACTOR not in scope:
            await self._app(scope, receive, send)
            return
        actor: Actor = scope[ACTOR]
        token = _present.set(self._house.as_(actor).practice_of(actor.player))
        try:
            await self._app(scope, receive, send)
        finally:
            _present.reset(token)


class _Bound:
    def __getattr__(self, name: str) -> Any:
        services = _present.get(None)
        if services is None:
            raise denied(Kind.STRANGER)  # nobody has been let in
        return getattr(services, name)


def practice() -> Services:
    """Return the practice of whichever request is being answered when it is used.

    Its use raises AccessError for what the request's actor may not.
    """
    return cast("Services", _Bound())
