"""What commands may know of the things service.app hands in: shapes, no imports of siblings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from service.use_cases.import_ports import FileRead, Lab, SampleRead
from service.use_cases.ports import PhotoFiles, Store

__all__ = ["FileRead", "Lab", "SampleRead"]


class ProblemFound(Protocol):
    """One place where a record is not what it should be."""

    @property
    def where(self) -> str: ...
    @property
    def what(self) -> str: ...


class VerifyReport(Protocol):
    """What a verification found."""

    @property
    def ok(self) -> bool: ...
    @property
    def first_bad(self) -> ProblemFound | None: ...
    @property
    def problems(self) -> Sequence[ProblemFound]: ...
    @property
    def counts(self) -> Mapping[str, int]: ...
    @property
    def not_proved(self) -> str: ...


class HeadNoted(Protocol):
    """Where a chain of the journal stands."""

    @property
    def chain(self) -> str: ...
    @property
    def position(self) -> int: ...
    @property
    def hash(self) -> str: ...


class ManifestWritten(Protocol):
    """What a backup file says of itself."""

    @property
    def heads(self) -> Sequence[HeadNoted]: ...
    def as_json(self) -> Mapping[str, object]: ...


class RecordRestored(Protocol):
    """What was restored, and that it was verified."""

    @property
    def shop_id(self) -> str: ...
    @property
    def heads(self) -> Sequence[HeadNoted]: ...
    @property
    def report(self) -> VerifyReport: ...


class OpenDatabase(Protocol):
    """The database behind a store."""

    def close(self) -> None: ...


class RecordStore(Store, Protocol):
    """The record of a shop, as the command line opens it."""

    @property
    def database(self) -> OpenDatabase: ...
    @property
    def photos(self) -> PhotoFiles: ...
    def card_by_code(self, code: str) -> tuple[str, str] | None: ...
    def job_by_work_order(self, work_order: str) -> str | None: ...
