"""The chains as the running transaction sees them: their heads, locked, and their files."""

from __future__ import annotations

from service.domain.refused import Refused
from service.storage.files import FileCache
from service.storage.journal import BEFORE_FIRST, Head, Known, read_file
from service.storage.pending import Pending
from service.storage.sql import Sql


class Damaged(Refused):
    """The record is not as it was written; nothing is added to it until someone looked."""


class Moved(Exception):
    """A chain went on since it was read; the work is to be done again on the newer file."""


class Chains:
    """What one transaction knows of the chains it reads and adds to.

    ``pending`` is what earlier changes of the same transaction added (group commit).
    ``trusted`` holds chains as this process wrote or read them last, when nobody else can have
    written since.
    """

    def __init__(
        self,
        sql: Sql,
        shop_id: str,
        cache: FileCache,
        pending: Pending,
        trusted: FileCache | None = None,
    ) -> None:
        self.sql = sql
        self.shop_id = shop_id
        self.pending = pending
        self._cache = cache
        self._trusted = trusted

    def known(self, chain: str, *, lock: bool) -> Known | None:
        """The chain's file, held against its head; None when there is no such chain.

        With ``lock`` no other transaction adds to the chain until this one ends (on SQLite
        there is no other).
        """
        known = self.pending.known.get(chain)
        if known is None and self._trusted is not None:
            known = self._trusted.get(chain)
        if known is not None:
            return known
        head = self._head(chain, lock=lock)
        known = read_file(self.sql, self.shop_id, chain, self._cache.get(chain))
        if known is not None:
            self._cache.put(chain, known)
        if lock or not self.sql.postgresql:
            self._check(chain, head, known)
        if known is not None and self._trusted is not None:
            self._trusted.put(chain, known)
        return known

    def card(self, code: str) -> tuple[str, str] | None:
        """Job id and card id of the card that has, or ever had, a code."""
        return self.pending.codes.get((self.shop_id, code)) or find_card(
            self.sql, self.shop_id, code
        )

    def job(self, work_order: str) -> str | None:
        """Id of the job that is, or ever was, under a work order."""
        pending = self.pending.work_orders.get((self.shop_id, work_order))
        if pending is not None:
            return pending
        return find_job(self.sql, self.shop_id, work_order)

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


# Only first rows have the name for themselves; what a correction named comes second, newest first.
_NAMED = (
    "SELECT job_id, id, 1 AS first, received_at FROM {table} "
    "WHERE shop_id = ? AND {name} = ? AND revision = 1 "
    "UNION ALL SELECT job_id, corrects, 2, received_at FROM {table} "
    "WHERE shop_id = ? AND {name} = ? AND revision > 1 ORDER BY 3, 4 DESC LIMIT 1"
)


def find_card(sql: Sql, shop_id: str, code: str) -> tuple[str, str] | None:
    """Job id and card id of the card that has, or ever had, a code."""
    row = sql.row(_NAMED.format(table="cards", name="code"), (shop_id, code) * 2)
    return None if row is None else (str(row[0]), str(row[1]))


def find_job(sql: Sql, shop_id: str, work_order: str) -> str | None:
    """Id of the job that is, or ever was, under a work order."""
    row = sql.row(_NAMED.format(table="jobs", name="work_order"), (shop_id, work_order) * 2)
    return None if row is None else str(row[0])


def head_of(chain: str, known: Known | None) -> Head:
    """The head that the next entry follows."""
    if known is None:
        return Head(chain, 0, BEFORE_FIRST)
    return Head(chain, known.position, known.hash)
