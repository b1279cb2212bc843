"""What the use cases need from outside; storage, and fakes in tests, provide it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol, TypeVar

from service.domain.record_file import RecordFile
from service.domain.records.base import Record
from service.domain.records.shop import Person

T = TypeVar("T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Receipt:
    """Proof that a change is on disk: its place in the chain and the hash of its entry."""

    id: str
    kind: str
    chain: str
    position: int
    hash: str
    received_at: datetime


class Unit(Protocol):
    """One change being made: what is known inside it, and what it adds.

    Everything added is written, with its journal entry, in one transaction when the work
    returns; nothing is when it raises.
    """

    @property
    def person(self) -> Person:
        """Who makes the change."""

    @property
    def now(self) -> datetime:
        """When the change reached the service, UTC."""

    @property
    def shop_id(self) -> str:
        """The shop whose record this is."""

    def shop(self) -> RecordFile:
        """The shop's own file, with what this change added so far."""

    def job(self, job_id: str) -> RecordFile:
        """A job's file, likewise; no other change to that job runs meanwhile.

        Raises ``Unknown`` when the shop has no such job.
        """

    def add(self, *records: Record) -> None:
        """Add rows: job records to their job's chain, others to the shop's."""

    def card_by_code(self, code: str) -> tuple[str, str] | None:
        """Job id and card id of the card with that code, in any job of the shop."""

    def job_by_work_order(self, work_order: str) -> str | None:
        """Id of the job under that work order."""


class Store(Protocol):
    """The record on disk, of one shop."""

    @property
    def shop_id(self) -> str:
        """The shop this store is open for."""

    def write(
        self,
        *,
        change_id: str,
        kind: str,
        fingerprint: str,
        person_id: str,
        work: Callable[[Unit], None],
    ) -> Receipt:
        """Make one change durable and return its receipt.

        A change id that came before with the same fingerprint gives the first receipt and does
        nothing; with another fingerprint it raises ``KeyReused``. What ``work`` raises is
        raised here, and nothing is written.
        """

    def shop(self) -> RecordFile:
        """The shop's own file as it stands."""

    def job(self, job_id: str) -> RecordFile:
        """A job's file as it stands; ``Unknown`` when there is none."""
