"""Which device leads a session when several have it open.

Kept in memory only: nothing of it is worth a line in the log, and a page that leads goes on leading
when the server was away.

A device that follows never leads by itself: the player's touch hands the session over. So a tablet
whose network is gone for a while finds itself still in the lead. After a restart of the server the
one that says it leads is believed.
"""

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

FORGOTTEN_S = 600.0  # a device not heard of for so long leads no more
SESSIONS_MOST = 50  # leads of older sessions are let go


@dataclass(frozen=True, slots=True)
class Lead:
    """Who leads: the device's id, its name for people, and when it was last heard [s]."""

    device: str
    name: str
    heard_s: float


@dataclass(frozen=True, slots=True)
class LeaderStatus:
    """leads : the asking device does. by : who does. quiet_s : since that one was last heard."""

    leads: bool
    by: str
    quiet_s: float


class Leads:
    """Thread-safe.

    clock : seconds that never jump back
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._known: dict[str, Lead] = {}
        self._lock = threading.Lock()

    def ask(
        self, session_id: str, device: str, name: str, *, claims: bool, take: bool
    ) -> LeaderStatus:
        """Say whether a device leads a session.

        claims : it has led so far, or has just been opened; take : the player wants it to
        """
        with self._lock:
            now = self._clock()
            lead = self._known.get(session_id)
            free = lead is None or now - lead.heard_s > FORGOTTEN_S
            own = lead is not None and lead.device == device
            if take or own or (free and claims):
                self._keep(session_id, Lead(device, name, now))
                return LeaderStatus(leads=True, by=name, quiet_s=0.0)
            if lead is None:
                return LeaderStatus(leads=False, by="", quiet_s=FORGOTTEN_S)
            return LeaderStatus(leads=False, by=lead.name, quiet_s=now - lead.heard_s)

    def _keep(self, session_id: str, lead: Lead) -> None:
        self._known.pop(session_id, None)
        self._known[session_id] = lead
        while len(self._known) > SESSIONS_MOST:
            self._known.pop(next(iter(self._known)))
