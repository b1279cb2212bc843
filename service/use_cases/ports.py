"""What the use cases need from outside; storage, and fakes in tests, provide it."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Protocol, TypeVar

from service.domain.record_file import RecordFile
from service.domain.records.base import Record
from service.domain.records.shop import Person

if TYPE_CHECKING:
    from colour.photo.outcome import PhotoRead, Point
    from colour.photo.target import Target

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


class PhotoFiles(Protocol):
    """Photographs under the SHA-256 of their bytes."""

    def put(self, content: bytes) -> str:
        """Store bytes durably and return their SHA-256."""

    def get(self, sha: str) -> bytes:
        """The bytes under that SHA-256."""

    def has(self, sha: str) -> bool:
        """Whether they are there."""


class PictureDescribed(Protocol):
    """Kind and size of a picture, as it stands upright, in pixels."""

    @property
    def media_type(self) -> str: ...
    @property
    def width(self) -> int: ...
    @property
    def height(self) -> int: ...


class PhotoReader(Protocol):
    """What reads photographs; every method raises ``PhotoRefused`` with all its reasons."""

    def read(
        self,
        content: bytes,
        *,
        target: Target | None = None,
        targets: Mapping[str, Target] | None = None,
        corners: Sequence[Point] | None = None,
    ) -> PhotoRead:
        """The windows of a photographed target.

        Without ``target`` the sheet is known by its own codes, a registered print by its print
        code in ``targets``. ``corners`` are those of the target in the upright photograph,
        clockwise from its own top left.
        """

    def describe(self, content: bytes) -> PictureDescribed:
        """Kind and size, told by content."""

    def shown(self, content: bytes, width: int) -> bytes:
        """A JPEG made anew for the eye: upright, at most so wide, without the camera's notes."""
