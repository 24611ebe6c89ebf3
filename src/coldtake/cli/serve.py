"""`coldtake serve`: the app on this machine, on loopback; with `--share` also to one tablet."""

import os
import socket
import sys
import threading
import webbrowser
from argparse import Namespace
from collections.abc import Callable
from pathlib import Path

import uvicorn
from fastapi import FastAPI

from coldtake.bootstrap import fill_with_demo, make_app, open_services, read_ahead
from coldtake.cli.opened import ShownProgress, print_json, tell_amiss, tell_repairs
from coldtake.errors import InputError
from coldtake.storage.folder import LOG_NAME, data_folder
from coldtake.storage.lock import FolderLock
from coldtake.storage.read_only import cannot_be_written

HOST = "127.0.0.1"
_CLOSING_S = 3


class _Server(uvicorn.Server):
    """A server that says when it can be reached."""

    def __init__(self, config: uvicorn.Config, when_ready: Callable[[], None]) -> None:
        super().__init__(config)
        self._when_ready = when_ready

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets=sockets)
        if self.started:
            self._when_ready()


def run(arguments: Namespace) -> int:
    """Serve until interrupted. Raises BusyError when this folder is served already."""
    folder = data_folder(arguments.data)
    lock = FolderLock(folder)
    if not cannot_be_written(folder):  # there any number may look
        lock.hold("starting")
    try:
        _serve(arguments, folder, lock)
    except KeyboardInterrupt:
        pass  # Ctrl-C is how one stops it
    finally:
        lock.release()
    return 0


def _serve(arguments: Namespace, folder: Path, lock: FolderLock) -> None:
    threading.Thread(target=read_ahead, daemon=True).start()
    house, app = open_services(folder, new_log=arguments.new_log), None
    services = house.own()
    tell_repairs(services)
    tell_amiss(services)
    try:
        if services.care is not None:
            services.care.watch(services.deleting.tidy)
        if arguments.demo and services.is_empty():
            fill_with_demo(services, ShownProgress())
        listener = _listen(arguments.port)
        address = f"http://{HOST}:{listener.getsockname()[1]}/"
        lock.say(address, folder / LOG_NAME)
        app = make_app(house, data=folder)
        config = uvicorn.Config(app, log_level="warning", timeout_graceful_shutdown=_CLOSING_S)
        shared = _share(app, arguments.share)
        server = _Server(config, lambda: _announce(arguments, address, folder, shared))
        server.run(sockets=[listener])
    finally:
        if app is not None:
            app.state.sharing.stop()
        house.close()


def _share(app: FastAPI, asked: str | None) -> str:
    """Share with a tablet when asked to; return where. Raises InputError, BusyError."""
    if asked is None:
        return ""
    from coldtake.web.sharing import addresses, listener

    address, port = addresses.with_port(asked or addresses.usual(), listener.PORT)
    if not address:
        raise InputError(
            "This computer has no address in the local network.",
            where="--share",
            remedy="Enter it: coldtake serve --share 192.168.1.20.",
        )
    app.state.sharing.start(app, address, port)
    url: str = app.state.sharing.url
    return url


def _listen(port: int) -> socket.socket:
    """Bind the port on loopback, or any free one when it is taken."""
    for wanted in (port, 0):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name != "nt":  # there it would let two servers share one port
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((HOST, wanted))
        except OSError:
            listener.close()
            if wanted == 0:
                raise
            print(f"Port {wanted} is in use. Coldtake uses a free one.", file=sys.stderr)
            continue
        return listener
    raise AssertionError("unreachable")


def _announce(arguments: Namespace, address: str, folder: Path, shared: str) -> None:
    if arguments.json:
        print_json({"address": address, "data": str(folder), "shared": shared})
    else:
        print(f"Coldtake is at {address}\nData folder: {folder}. Press Ctrl-C to stop.")
        if shared:
            print(f"Shared with one paired device at {shared}: {address}share shows the code.")
    sys.stdout.flush()
    if not arguments.no_browser and _has_screen():
        threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()


def _has_screen() -> bool:
    """Say whether a browser window can open; a text browser must not take over the terminal."""
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
