"""Files of the chains in use, kept so that a change replays only what is new."""

from __future__ import annotations

import threading
from collections import OrderedDict

from service.storage.journal import Known


class FileCache:
    """The files read last, each with the entry up to which it was read.

    Files are values that never change, so they may be handed to any thread. Only what is
    committed comes in here.
    """

    def __init__(self, keep: int = 256) -> None:
        self._keep = keep
        self._known: OrderedDict[str, Known] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, chain: str) -> Known | None:
        """What is known of a chain; it may have gone on since."""
        with self._lock:
            known = self._known.get(chain)
            if known is not None:
                self._known.move_to_end(chain)
            return known

    def put(self, chain: str, known: Known) -> None:
        """Keep what was read, unless more is known already."""
        with self._lock:
            held = self._known.get(chain)
            if held is not None and held.position > known.position:
                return
            self._known[chain] = known
            self._known.move_to_end(chain)
            while len(self._known) > self._keep:
                self._known.popitem(last=False)
