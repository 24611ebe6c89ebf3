"""What the models found out about each step, kept on the shelf from one start to the next."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager

from coldtake.ports import DerivedCache, Store
from coldtake.practice.state.snapshots import maker_of

NAME = "learned"
SAVE_FROM = 20  # steps found anew from which on it is worth the writing


class EstimateCache:
    """Around every use of the models: what was found before is there, what is found is kept.

    Only speed hangs on it. The models are imported here, not before: that takes a while.
    """

    def __init__(self, store: Store) -> None:
        self._store = store
        self._shelf = store if isinstance(store, DerivedCache) else None
        self._lock = threading.Lock()
        self._recalled = False

    @contextmanager
    def used(self) -> Iterator[None]:
        """Use the models inside."""
        self._recall()
        yield
        self._keep()

    def _recall(self) -> None:
        with self._lock:
            if self._recalled or self._shelf is None:
                return
            from coldtake.learning import likelihood_cache

            kept = self._shelf.fetch(NAME, _maker())
            if kept is not None:
                likelihood_cache.read(kept[1])
            self._recalled = True

    def _keep(self) -> None:
        from coldtake.learning import likelihood_cache

        if self._shelf is not None and likelihood_cache.KNOWN.news >= SAVE_FROM:
            told = (NAME, _maker(), self._store.last_sequence(), likelihood_cache.write())
            threading.Thread(target=self._shelf.put, args=told, name="shelving").start()


def _maker() -> str:
    import coldtake.domain
    import coldtake.learning

    return maker_of(coldtake.domain, coldtake.learning)
