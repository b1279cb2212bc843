"""Changes into SQLite: one thread writes, and many changes share one commit."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from queue import Empty, SimpleQueue
from typing import Any, Protocol, TypeVar

from service.storage.chains import Chains
from service.storage.errors import NotStored, explained
from service.storage.files import FileCache
from service.storage.heads_file import HeadsFile
from service.storage.journal import Head
from service.storage.pending import Pending
from service.storage.sql import Sql
from service.storage.unit import Change, carry_out, earlier_entries
from service.use_cases.ports import Receipt

T = TypeVar("T")
LARGEST_GROUP = 128


class Writer(Protocol):
    """Makes changes durable, on either engine."""

    def submit(self, shop_id: str, change: Change) -> Future[Receipt]:
        """Make one change; the future is done when it is on disk."""

    def run(self, work: Callable[[Sql], T]) -> T:
        """Write something that is no part of the record (sign-in sessions), in a transaction."""

    def close(self) -> None:
        """Finish what was asked for and stop."""


class _Request:
    """One thing to write, and where its answer goes."""

    __slots__ = ("answer", "change", "future", "plain", "shop_id", "started")

    def __init__(
        self, shop_id: str, change: Change | None, plain: Callable[[Sql], Any] | None
    ) -> None:
        self.shop_id = shop_id
        self.change = change
        self.plain = plain
        self.future: Future[Any] = Future()
        self.answer: Any = None
        self.started = False

    def start(self) -> bool:
        """Whether it is still wanted; it can no longer be cancelled from here on."""
        if not self.started:
            self.started = True
            return self.future.set_running_or_notify_cancel()
        return not self.future.done()


class SqliteWriter:
    """Owns the only connection that writes or checkpoints; answers only after the commit."""

    def __init__(
        self, connect: Callable[[], Any], cache: FileCache, heads: HeadsFile | None
    ) -> None:
        self._connect = connect
        self._cache = cache
        self._heads = heads
        self._queue: SimpleQueue[_Request | None] = SimpleQueue()
        self._sql = Sql(connect(), postgresql=False)
        self._trusted = FileCache()
        self._data_version: object = None
        self._refusal: Exception | None = None
        self._closed = False
        self._closing = threading.Lock()
        self._thread = threading.Thread(target=self._work, name="keepcard-writer", daemon=True)
        self._thread.start()

    def submit(self, shop_id: str, change: Change) -> Future[Receipt]:
        """Queue one change."""
        return self._queued(_Request(shop_id, change, None))

    def run(self, work: Callable[[Sql], T]) -> T:
        """Queue plain writing and wait for it."""
        done: Future[T] = self._queued(_Request("", None, work))
        return done.result()

    def close(self) -> None:
        """Write what is queued, then end the thread."""
        with self._closing:
            if self._closed:
                return
            self._closed = True
            self._queue.put(None)
        self._thread.join()
        self._sql.connection.close()

    def _queued(self, request: _Request) -> Future[Any]:
        with self._closing:
            if self._closed:
                raise NotStored("The record is being closed. Send the entry again later.")
            self._queue.put(request)
        return request.future

    def _work(self) -> None:
        while True:
            request = self._next()
            if request is None:
                break
            group = [request]
            last = False
            while len(group) < LARGEST_GROUP and not last:
                try:
                    more = self._queue.get_nowait()
                except Empty:
                    break
                if more is None:
                    last = True
                else:
                    group.append(more)
            self._write(group)
            if last:
                break

    def _next(self) -> _Request | None:
        if self._heads is not None and self._heads.waiting:
            try:
                return self._queue.get(timeout=1.0)
            except Empty:
                self._heads.write()
        return self._queue.get()

    def _write(self, group: list[_Request]) -> None:
        """One transaction for the group; when it fails, one for each request of it."""
        pending = Pending()
        try:
            if self._refusal is not None:
                raise self._refusal
            self._sql.run("BEGIN IMMEDIATE")
            done = self._carry_out(group, pending)
            pending.put_down(self._sql)
            self._sql.run("COMMIT")
        except Exception as error:
            self._roll_back(error)
            waiting = [request for request in group if not request.future.done()]
            if len(group) > 1 and self._refusal is None:
                for request in waiting:
                    self._write([request])
            else:
                for request in waiting:
                    request.future.set_exception(explained(error))
            return
        for chain, known in pending.known.items():
            self._trusted.put(chain, known)
            self._cache.put(chain, known)
        for request in done:
            request.future.set_result(request.answer)
        if self._heads is not None:
            self._heads.note(Head(c, k.position, k.hash) for c, k in pending.known.items())

    def _carry_out(self, group: list[_Request], pending: Pending) -> list[_Request]:
        """Do the work of each request; gives those that were not refused."""
        self._look_whether_trusted()
        keys = [(r.shop_id, r.change.change_id) for r in group if r.change is not None]
        earlier = earlier_entries(self._sql, keys) if keys else {}
        done = []
        for request in group:
            if not request.start():
                continue
            try:
                if request.change is None:
                    request.answer = self._plainly(request)
                else:
                    chains = Chains(self._sql, request.shop_id, self._cache, pending, self._trusted)
                    key = (request.shop_id, request.change.change_id)
                    request.answer = carry_out(chains, request.change, earlier.get(key))
            except BaseException as error:
                if not self._sql.connection.in_transaction:
                    # SQLite rolled the whole transaction back (a full disk does that).
                    raise
                request.future.set_exception(
                    explained(error) if isinstance(error, Exception) else error
                )
            else:
                done.append(request)
        return done

    def _plainly(self, request: _Request) -> Any:
        """What is written past the changes; when it fails it leaves no trace."""
        assert request.plain is not None
        self._sql.run("SAVEPOINT plainly")
        try:
            return request.plain(self._sql)
        except BaseException:
            if self._sql.connection.in_transaction:
                self._sql.run("ROLLBACK TO plainly")
            raise
        finally:
            if self._sql.connection.in_transaction:
                self._sql.run("RELEASE plainly")

    def _look_whether_trusted(self) -> None:
        """Forget what is known when another connection wrote; nobody should, the folder is ours."""
        (version,) = self._sql.row("PRAGMA data_version") or (None,)
        if version != self._data_version:
            self._data_version = version
            self._trusted = FileCache()

    def _roll_back(self, error: Exception) -> None:
        if error is self._refusal:
            return
        self._trusted = FileCache()
        connection = self._sql.connection
        try:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            if type(error).__name__ == "OperationalError":
                if "disk I/O error" in str(error):
                    # After a failed fsync nobody knows what the disk holds; writing on as if
                    # nothing had happened could lose what is acknowledged next.
                    self._refusal = NotStored(
                        f"The disk reported an error ({error}), so nothing more is written. "
                        "Check the disk, then start the service again; what was acknowledged "
                        "before is kept."
                    )
                connection.close()
                self._sql = Sql(self._connect(), postgresql=False)
                self._data_version = None
        except Exception as failed:
            self._refusal = NotStored(
                f"The record's file can no longer be written ({failed}). "
                "Check the disk, then start the service again."
            )
