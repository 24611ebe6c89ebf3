"""Figures of each step's past for the reports, kept until that past changes.

Ten years are two thousand steps: to unpack them all takes a second or two, so it is done once, in
the background, and cached (`ports.DerivedCache`) from one start to the next. Only speed hangs on
it.
"""

import threading
from datetime import date

import msgspec

from coldtake.domain.days import monday_of
from coldtake.domain.history.state import State
from coldtake.domain.history.step_history import StepHistory
from coldtake.domain.take import Answer, Judge, Take, Try
from coldtake.ports import DerivedCache, Store
from coldtake.practice.state.snapshots import maker_of

NAME = "digests"
SAVE_FROM = 50  # digests made anew from which on it is worth the writing


class Digest(msgspec.Struct, frozen=True):
    """One step's past. `step_print` : that of the past (`State.prints`).

    minutes : played in the week of each Monday; clean : fastest clean tempo of a day, in quarters
    a minute; cold : of each day's cold take whether it was answered yes, and
    whether the listener said so
    """

    step_print: str
    minutes: dict[date, float]
    clean: dict[date, float]
    cold: dict[date, tuple[bool, bool]]


def digest_of(past: StepHistory, step_print: str) -> Digest:
    """Go through a step's past once."""
    minutes: dict[date, float] = {}
    for work in past.works:
        monday = monday_of(work.day)
        minutes[monday] = minutes.get(monday, 0.0) + work.minutes
    takes = {take.id: take for take in past.takes}
    clean: dict[date, float] = {}
    for attempt in past.tries:
        tempo = clean_tempo(attempt, takes.get(attempt.take_id or ""))
        if tempo is not None:
            clean[attempt.day] = max(tempo, clean.get(attempt.day, 0.0))
    return Digest(step_print, minutes, clean, _cold(past))


def _cold(past: StepHistory) -> dict[date, tuple[bool, bool]]:
    return {
        t.day: (t.answer is Answer.YES, t.judge is Judge.TOOL)
        for t in past.tries
        if t.cold and t.answer is not Answer.CANNOT_TELL
    }


def clean_tempo(attempt: Try, take: Take | None) -> float | None:
    """Return the tempo at which a try was clean, None where it was not, or no tempo is known.

    A take that failed by nothing but its tempo was clean at the tempo that it had.
    """
    if attempt.answer is Answer.YES:
        return attempt.tempo_bpm
    verdict = take.verdict if take else None
    if verdict is None or attempt.judge is not Judge.TOOL or attempt.answer is not Answer.NO:
        return None
    others = [figure.passed for figure in verdict.tests if figure.name != "tempo"]
    return verdict.tempo_bpm if others and all(others) else None


_DECODER = msgspec.msgpack.Decoder(dict[str, Digest])


class Digests:
    """Digests of all steps. Thread-safe."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._shelf = store if isinstance(store, DerivedCache) else None
        self._lock = threading.Lock()
        self._known: dict[str, Digest] | None = None

    def of(self, state: State, step_id: str) -> Digest:
        """Return one step's digest; that of a step never touched is empty."""
        known = self._recalled()
        step_print = state.prints.get(step_id, "")
        found = known.get(step_id)
        if found is None or found.step_print != step_print:
            found = known[step_id] = digest_of(state.past(step_id), step_print)
        return found

    def all(self, state: State) -> dict[str, Digest]:
        """Return the digests of every step that was ever touched, also of those that are gone."""
        known = self._recalled()
        prints = state.prints
        fresh = sum(1 for i in state.pasts if i not in known or known[i].step_print != prints[i])
        found = {step_id: self.of(state, step_id) for step_id in state.pasts}
        if self._shelf is not None and fresh >= SAVE_FROM:
            body = msgspec.msgpack.encode(found)
            told = (NAME, _maker(), self._store.last_sequence(), body)
            threading.Thread(target=self._shelf.put, args=told, name="shelving").start()
        return found

    def _recalled(self) -> dict[str, Digest]:
        with self._lock:
            if self._known is None:
                kept = self._shelf.fetch(NAME, _maker()) if self._shelf else None
                self._known = _read(kept[1]) if kept else {}
            return self._known


def _read(body: bytes) -> dict[str, Digest]:
    try:
        return _DECODER.decode(body)
    except msgspec.MsgspecError:
        return {}


def _maker() -> str:
    import coldtake.domain
    import coldtake.practice

    return maker_of(coldtake.domain, coldtake.practice)
