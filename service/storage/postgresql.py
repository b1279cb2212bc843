"""Changes into PostgreSQL: a transaction each, with the heads it moves locked."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

from service.domain.refused import Refused
from service.storage.chains import Chains, Moved
from service.storage.engine import Pool
from service.storage.errors import NotStored, explained
from service.storage.files import FileCache
from service.storage.heads_file import HeadsFile
from service.storage.journal import Head
from service.storage.pending import Pending
from service.storage.sql import Sql
from service.storage.unit import Change, carry_out, earlier_entries
from service.use_cases.ports import Receipt

T = TypeVar("T")
THREADS = 16
ATTEMPTS = 12
_AGAIN = {
    # Another transaction was in the way: on fresh files the work may come out otherwise.
    "SerializationFailure",
    "DeadlockDetected",
    "LockNotAvailable",
    # The same key, card code or work order came in meanwhile; the next look will find it.
    "UniqueViolation",
    # The connection broke. Should the commit have gone through, the key is found again.
    "OperationalError",
    "AdminShutdown",
    "InterfaceError",
}


class PostgresqlWriter:
    """Runs each change in the thread that asks, or in one of its own for ``submit``."""

    def __init__(self, pool: Pool, cache: FileCache, heads: HeadsFile | None) -> None:
        self._pool = pool
        self._cache = cache
        self._heads = heads
        self._threads: ThreadPoolExecutor | None = None
        self._lock = threading.Lock()
        self._closed = False

    def submit(self, shop_id: str, change: Change) -> Future[Receipt]:
        """Make one change in a thread of the writer."""
        with self._lock:
            if self._closed:
                raise NotStored("The record is being closed. Send the entry again later.")
            if self._threads is None:
                self._threads = ThreadPoolExecutor(THREADS, "keepcard-writer")
            return self._threads.submit(self.write, shop_id, change)

    def write(self, shop_id: str, change: Change) -> Receipt:
        """Make one change here and now."""

        def make(sql: Sql) -> tuple[Receipt, dict[str, Head]]:
            pending = Pending()
            key = (shop_id, change.change_id)
            earlier = earlier_entries(sql, [key]).get(key)
            try:
                receipt = carry_out(Chains(sql, shop_id, self._cache, pending), change, earlier)
            except Refused:
                # The same change may have been stored while this one waited for a head; what
                # it adds is then there already, and the first receipt is the answer.
                earlier = earlier_entries(sql, [key]).get(key)
                if earlier is None:
                    raise
                pending = Pending()
                receipt = carry_out(Chains(sql, shop_id, self._cache, pending), change, earlier)
            pending.put_down(sql)
            return receipt, {c: Head(c, k.position, k.hash) for c, k in pending.known.items()}

        receipt, heads = self.run(make)
        if self._heads is not None:
            self._heads.note(heads.values())
        return receipt

    def run(self, work: Callable[[Sql], T]) -> T:
        """Do the work in one transaction; again when another one was in the way."""
        for attempt in range(1, ATTEMPTS + 1):
            try:
                with self._pool.use() as sql:
                    sql.run("BEGIN")
                    try:
                        answer = work(sql)
                        sql.run("COMMIT")
                    except BaseException:
                        if not sql.connection.closed:
                            sql.run("ROLLBACK")
                        raise
                    return answer
            except Moved:
                if attempt == ATTEMPTS:
                    raise NotStored(
                        "Others kept changing the same thing. Nothing of this entry is stored; "
                        "send it again."
                    ) from None
            except Exception as error:
                if type(error).__name__ not in _AGAIN or attempt >= _limit(error):
                    raise explained(error) from error
        raise AssertionError("unreachable")

    def close(self) -> None:
        """Finish what runs and note the heads."""
        with self._lock:
            self._closed = True
            threads, self._threads = self._threads, None
        if threads is not None:
            threads.shutdown()
        self._pool.close()


def _limit(error: Exception) -> int:
    waits = type(error).__name__ in ("SerializationFailure", "DeadlockDetected", "LockNotAvailable")
    return ATTEMPTS if waits else 3
