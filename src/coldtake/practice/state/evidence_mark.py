"""Whether anything has happened that a forecast is made from."""

import threading
from datetime import date

from coldtake.domain.events import ChancesSaid, OutlookSaid
from coldtake.practice.state.log import Log


class EvidenceMark:
    """A mark that changes when the day does, or the log; what was said of the future is no news.

    So a forecast that was kept to be held against what comes does not make itself out of date.
    Thread-safe.
    """

    def __init__(self, log: Log) -> None:
        self._log = log
        self._lock = threading.Lock()
        self._seen = self._last = -1

    def now(self) -> tuple[int, date]:
        """Return the present mark."""
        with self._lock:
            end = self._log.store.last_sequence()
            if self._seen < 0 or end < self._seen:
                self._last = end
            elif end > self._seen:
                for sequence, event in self._log.store.events(after=self._seen):
                    if not isinstance(event.data, OutlookSaid | ChancesSaid):
                        self._last = sequence
            self._seen = end
            return self._last, self._log.today()
