"""One shop's record, as the use cases see it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future
from contextlib import contextmanager
from typing import TYPE_CHECKING, cast
from uuid import uuid4

from service.domain.record_file import RecordFile
from service.domain.records.base import check_uuid
from service.domain.refused import Refused, Unknown
from service.storage.chains import find_card, find_job
from service.storage.journal import Head, read_file
from service.storage.photo_files import LocalPhotos
from service.storage.sql import Sql
from service.storage.unit import Change, ChangeUnit, NothingMoved, earlier_entries, receipt_of
from service.use_cases.ports import Receipt, Unit

if TYPE_CHECKING:
    from service.storage.database import Database


class ReadOnly(Refused):
    """Writing to a record that was opened for reading."""


class ShopStore:
    """The ``Store`` of one shop over a database; close the database when done with it."""

    def __init__(self, database: Database, shop_id: str) -> None:
        self.database = database
        self._shop_id = shop_id

    @property
    def shop_id(self) -> str:
        """The shop this store is open for."""
        return self._shop_id

    def close(self) -> None:
        """Close the database under it."""
        self.database.close()

    @property
    def photos(self) -> LocalPhotos:
        """The photo files beside the record."""
        return self.database.photos

    def write(
        self,
        *,
        change_id: str,
        kind: str,
        fingerprint: str,
        person_id: str,
        work: Callable[[Unit], None],
    ) -> Receipt:
        """Make one change durable and return its receipt; see the port.

        ``work`` may run again when another change came in between, so it must do nothing but
        read and add through its unit.
        """
        change = self._change(change_id, kind, fingerprint, person_id, work)
        return self.database.make(self.shop_id, change)

    def submit(
        self,
        *,
        change_id: str,
        kind: str,
        fingerprint: str,
        person_id: str,
        work: Callable[[Unit], None],
    ) -> Future[Receipt]:
        """``write`` without waiting: the future is done when the change is on disk."""
        change = self._change(change_id, kind, fingerprint, person_id, work)
        return self.database.writer().submit(self.shop_id, change)

    def checkpoint(self, person_id: str) -> Receipt | None:
        """Name in the shop's chain where its jobs stand; None when none went on since.

        Whoever keeps the receipt's hash can tell later whether any job was cut short.
        """

        def work(unit: Unit) -> None:
            cast(ChangeUnit, unit).add_heads()

        try:
            return self.write(
                change_id=str(uuid4()),
                kind="checkpoint",
                fingerprint="",
                person_id=person_id,
                work=work,
            )
        except NothingMoved:
            return None

    def shop(self) -> RecordFile:
        """The shop's own file as it stands."""
        return self._file("shop", self.shop_id)

    def job(self, job_id: str) -> RecordFile:
        """A job's file as it stands; ``Unknown`` when there is none."""
        if job_id == self.shop_id:
            raise Unknown("job", job_id)
        return self._file("job", job_id)

    def card_by_code(self, code: str) -> tuple[str, str] | None:
        """Job id and card id of the card that has, or ever had, that code."""
        with self.reading() as sql:
            return find_card(sql, self.shop_id, code)

    def job_by_work_order(self, work_order: str) -> str | None:
        """Id of the job that is, or ever was, under that work order."""
        with self.reading() as sql:
            return find_job(sql, self.shop_id, work_order)

    def receipt(self, change_id: str) -> Receipt | None:
        """The receipt of the change under that key, None when it never came."""
        with self.reading() as sql:
            found = earlier_entries(sql, [(self.shop_id, change_id)])
        entry = found.get((self.shop_id, change_id))
        return None if entry is None else receipt_of(entry)

    def heads(self) -> list[Head]:
        """Where every chain of the shop stands now, the shop's own first."""
        with self.reading() as sql:
            rows = sql.rows(
                "SELECT chain, position, hash FROM heads WHERE shop_id = ? ORDER BY chain",
                (self.shop_id,),
            )
        heads = [Head(*row) for row in rows]
        return sorted(heads, key=lambda head: head.chain != self.shop_id)

    @contextmanager
    def reading(self) -> Iterator[Sql]:
        """A connection for queries; each statement sees what is committed when it starts."""
        with self.database.reading() as sql:
            yield sql

    def _file(self, kind: str, chain: str) -> RecordFile:
        cache = self.database.cache
        with self.database.reading() as sql:
            # The file is looked up before the journal is read, so it is never ahead of it.
            known = read_file(sql, self.shop_id, chain, cache.get(chain))
        if known is None:
            raise Unknown(kind, chain)
        cache.put(chain, known)
        return known.file

    def _change(
        self,
        change_id: str,
        kind: str,
        fingerprint: str,
        person_id: str,
        work: Callable[[Unit], None],
    ) -> Change:
        check_uuid("change_id", change_id)
        return Change(
            change_id=change_id,
            kind=kind,
            fingerprint=fingerprint,
            person_id=person_id,
            now=self.database.clock(),
            work=work,
        )
