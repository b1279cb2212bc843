"""What commands may know of the things service.app hands in: shapes, no imports of siblings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Protocol

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


class SampleRead(Protocol):
    """One sample of a readings file."""

    @property
    def name(self) -> str | None: ...
    @property
    def conditions(self) -> ConditionsRead: ...
    @property
    def stage(self) -> str | None: ...
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
