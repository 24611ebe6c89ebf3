"""Which language a request is answered in: the chosen one, else what the browser asks for."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.requests import Request

from coldtake.errors import AccessError
from coldtake.messages.language import LANGUAGES, Language, first_understood, offered, speaking

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

    from coldtake.practice.services import Services

SETTING = "language"


class Speaking:
    """ASGI middleware behind the binding: speaks the language of whoever asks.

    As long as only English is offered, nobody is asked for a language.
    """

    def __init__(self, app: ASGIApp, *, services: Services) -> None:
        self._app = app
        self._services = services

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass the request on in its language."""
        among = offered()
        if scope["type"] != "http" or len(among) == 1:
            await self._app(scope, receive, send)
            return
        with speaking(_language(Request(scope), self._services, among)):
            await self._app(scope, receive, send)


def _language(request: Request, services: Services, among: tuple[Language, ...]) -> str:
    """Choose a language; whoever may not see the settings is answered as the browser asks."""
    asked = first_understood(request.headers.get("accept-language", ""), among)
    try:
        chosen = services.settings.chosen(SETTING)
    except AccessError:
        return asked
    one = asked if chosen is None else LANGUAGES[chosen].code
    return one if one in {language.code for language in among} else LANGUAGES[0].code
