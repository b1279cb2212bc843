"""The chains as the running transaction sees them: their heads, locked, and their files."""

from __future__ import annotations

from collections.abc import Mapping

from service.domain.refused import Refused
from service.storage.files import FileCache
from service.storage.journal import BEFORE_FIRST, Head, Known, read_file
from service.storage.sql import Sql


class Damaged(Refused):
    """The record is not as it was written; nothing is added to it until someone looked."""


class Moved(Exception):
    """A chain went on since it was read; the work is to be done again on the newer file."""


class Chains:
    """What one transaction knows of the chains it reads and adds to.

    ``pending`` holds what earlier changes of the same transaction wrote (group commit).
    """

    def __init__(
        self, sql: Sql, shop_id: str, cache: FileCache, pending: Mapping[str, Known]
    ) -> None:
        self.sql = sql
        self.shop_id = shop_id
        self._cache = cache
        self._pending = pending

    def known(self, chain: str, *, lock: bool) -> Known | None:
        """The chain's file, held against its head; None when there is no such chain.

        With ``lock`` no other transaction adds to the chain until this one ends (on SQLite
        there is no other).
        """
        known = self._pending.get(chain)
        if known is not None:
            return known
        head = self._head(chain, lock=lock)
        known = read_file(self.sql, self.shop_id, chain, self._cache.get(chain))
        if known is not None:
            self._cache.put(chain, known)
        if lock or not self.sql.postgresql:
            self._check(chain, head, known)
        return known

    def _head(self, chain: str, *, lock: bool) -> tuple[int, str] | None:
        if self.sql.postgresql and not lock:
            return None
        suffix = " FOR UPDATE" if self.sql.postgresql else ""
        row = self.sql.row(
            f"SELECT position, hash FROM heads WHERE chain = ? AND shop_id = ?{suffix}",
            (chain, self.shop_id),
        )
        return None if row is None else (row[0], row[1])

    def _check(self, chain: str, head: tuple[int, str] | None, known: Known | None) -> None:
        held = None if known is None else (known.position, known.hash)
        if held != head:
            raise Damaged(
                f"The journal of {chain} ends at entry {held[0] if held else 0}, but entry "
                f"{head[0] if head else 0} was written last. Nothing is added to it. "
                "Run keepcard verify, then restore the last good backup."
            )


def head_of(chain: str, known: Known | None) -> Head:
    """The head that the next entry follows."""
    if known is None:
        return Head(chain, 0, BEFORE_FIRST)
    return Head(chain, known.position, known.hash)
