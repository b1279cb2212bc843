"""What commands may know of the things service.app hands in: shapes, no imports of siblings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

from service.use_cases.ports import PhotoFiles, Store

Lab = tuple[float, float, float]


class ConditionsRead(Protocol):
    """Under what something was measured; None where a file does not say."""

    @property
    def illuminant(self) -> str | None: ...
    @property
    def observer(self) -> int | None: ...
    @property
    def geometry(self) -> str | None: ...
    @property
    def specular(self) -> str | None: ...


class ReadingRead(Protocol):
    """One reading of a sample."""

    @property
    def angle(self) -> int | None: ...
    @property
    def reflectance(self) -> Sequence[float] | None: ...


class SampleRead(Protocol):
    """One sample of a readings file."""

    @property
    def name(self) -> str | None: ...
    @property
    def conditions(self) -> ConditionsRead: ...
    @property
    def stage(self) -> str | None: ...
    @property
    def instrument(self) -> str | None: ...
    @property
    def readings(self) -> Sequence[ReadingRead]: ...
    @property
    def wavelengths_nm(self) -> Sequence[float] | None: ...
    def labs_by_angle(self) -> Mapping[int | None, Sequence[Lab]]: ...
    def temperatures_c(self) -> Sequence[float]: ...
    def as_json(self) -> Mapping[str, object]: ...


class WarningRead(Protocol):
    """What the reader of a file has to say about it."""

    @property
    def code(self) -> str: ...
    @property
    def message(self) -> str: ...


class FileRead(Protocol):
    """A readings file that was taken whole."""

    @property
    def format(self) -> str: ...
    @property
    def samples(self) -> Sequence[SampleRead]: ...
    @property
    def warnings(self) -> Sequence[WarningRead]: ...
    def as_json(self) -> Mapping[str, object]: ...


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
