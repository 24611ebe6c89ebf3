"""The second server: TLS on one address of the local network, started and stopped on purpose."""

from __future__ import annotations

import asyncio
import ipaddress
import socket
import ssl
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from coldtake.errors import BusyError, InputError
from coldtake.web.sharing.addresses import Address, checked
from coldtake.web.sharing.gate import marked_as_shared
from coldtake.web.sharing.pairing import Pairing

if TYPE_CHECKING:
    import uvicorn
    from starlette.types import ASGIApp

    from coldtake.web.sharing.authority import Authority, Leaf

PORT = 8438  # the neighbour of the page's own port; the picture to scan carries it
FOLDER = "sharing"  # in the data folder
_PATIENCE_S = 10.0
_CLOSING_S = 2
_TICK_S = 0.02
_GOODBYE_S = 0.3
_CONNECTIONS = 64  # one browser holds six; strangers shall not fill the machine


class Sharing:
    """Shares the app with one paired device while it is on. `now` gives the instant (UTC)."""

    def __init__(self, data: Path, now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        self._folder = data / FOLDER
        self._now = now
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self._authority: Authority | None = None
        self.leaf: Leaf | None = None
        self._context: ssl.SSLContext | None = None
        self.pairing = Pairing(self._folder, now)
        self.address: Address | None = None
        self.port = 0

    @property
    def on(self) -> bool:
        """True while a device can reach this machine."""
        return self.address is not None

    @property
    def url(self) -> str:
        """Where the device finds the app, without a slash at the end."""
        if self.address is None:
            return ""
        host = f"[{self.address}]" if self.address.version == 6 else str(self.address)
        return f"https://{host}:{self.port}"

    @property
    def authority(self) -> Authority:
        """The certificate that devices take in. Raises StoreError."""
        if self._authority is None:
            self._authority = self._read_authority()
        return self._authority

    def _read_authority(self) -> Authority:
        # the parts that make certificates are not needed before somebody shares
        from coldtake.web.sharing.authority import authority_of

        return authority_of(self._folder, self._now())

    def start(self, app: ASGIApp, address: str, port: int = PORT) -> None:
        """Listen on one address. Raises InputError, BusyError, StoreError; twice is fine."""
        wanted = checked(address)
        if self.on:
            self.stop()
        self._authority = self._read_authority()
        listener = _bound(wanted, port)
        context = self._renewed(wanted)
        self._serve(marked_as_shared(app, wanted), listener, context)
        self.address, self.port = wanted, listener.getsockname()[1]

    def stop(self) -> None:
        """Stop listening; the paired device stays known for the next time."""
        self.address = None
        self.pairing.drop_code()
        if self._server:
            self._server.should_exit = True
        if self._thread and self._thread is not threading.current_thread():
            self._thread.join(_PATIENCE_S)
        self._server = self._thread = None

    def _renewed(self, address: Address) -> ssl.SSLContext:
        from coldtake.web.sharing.authority import context_of, make_leaf

        self.leaf = make_leaf(self.authority, [address], self._now())
        self._context = context_of(self.leaf, self._folder)
        self._context.sni_callback = self._shake_hands
        return self._context

    def _shake_hands(
        self, sock: ssl.SSLObject | ssl.SSLSocket, _name: str | None, _first: ssl.SSLContext
    ) -> None:
        """Show the present leaf at every handshake; make it again when it is half over."""
        if self.address and self.leaf and self.leaf.due(self._now()):
            self._renewed(self.address)
        if self._context:
            sock.context = self._context

    def _serve(self, app: ASGIApp, listener: socket.socket, context: ssl.SSLContext) -> None:
        import uvicorn

        config = uvicorn.Config(
            app,
            ws="none",
            lifespan="off",
            limit_concurrency=_CONNECTIONS,
            log_level="warning",
            proxy_headers=False,  # whoever connects is the device itself
            server_header=False,
            ssl_context_factory=lambda *_: context,
            timeout_graceful_shutdown=_CLOSING_S,
        )
        server = _closing_server(config)
        thread = threading.Thread(
            target=server.run, kwargs={"sockets": [listener]}, name="sharing", daemon=True
        )
        thread.start()
        end = time.monotonic() + _PATIENCE_S
        while not server.started and thread.is_alive() and time.monotonic() < end:
            time.sleep(_TICK_S)
        if not server.started:
            server.should_exit = True
            raise BusyError("Sharing did not start.", remedy="Try again.")
        self._server, self._thread = server, thread


def _closing_server(config: uvicorn.Config) -> uvicorn.Server:
    """A server that leaves no connection behind: browsers seldom answer TLS's goodbye."""
    import uvicorn

    class Closing(uvicorn.Server):
        async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
            leaving = asyncio.create_task(self.leave())
            await super().shutdown(sockets=sockets)
            leaving.cancel()
            for connection in list(self.server_state.connections):
                connection.transport.abort()
            await asyncio.sleep(_TICK_S)  # the loop closes the sockets before it ends

        async def leave(self) -> None:
            while True:  # those that are done, and only wait for the goodbye
                await asyncio.sleep(_GOODBYE_S)
                for connection in list(self.server_state.connections):
                    if connection.transport.is_closing():
                        connection.transport.abort()

    return Closing(config)


def _bound(address: Address, port: int) -> socket.socket:
    family = socket.AF_INET6 if isinstance(address, ipaddress.IPv6Address) else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((str(address), port))
    except OSError as fault:
        listener.close()
        if fault.errno is not None and port and _is_taken(fault):
            raise BusyError(
                f"Port {port} on {address} is taken.",
                where="port",
                remedy="Close the other program, or share on another port.",
            ) from fault
        raise InputError(
            f"{address} is not an address of this computer.",
            where="address",
            remedy="Check the system's network settings. The address is different in each network.",
        ) from fault
    return listener


def _is_taken(fault: OSError) -> bool:
    import errno

    return fault.errno in (errno.EADDRINUSE, errno.EACCES)
