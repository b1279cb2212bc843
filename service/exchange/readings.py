"""What a readings file holds, whatever its format; values only, nothing of the shop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import fsum

from service.domain.refused import Refused
from service.domain.terms import Specular, Stage

Triple = tuple[float, float, float]


def _printable(message: str) -> str:
    """A message may quote a file, and what cannot be shown has no business on a terminal."""
    if message.isprintable():
        return message
    return "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in message)


class ReadingsRefused(Refused):
    """A readings file that cannot be taken, with the place where it goes wrong if there is one."""

    def __init__(
        self,
        problem: str,
        *,
        line: int | None = None,
        column: str | None = None,
        value: str | None = None,
    ) -> None:
        place = ""
        if line is not None:
            place = f"Line {line}, column '{column}': " if column else f"Line {line}: "
        super().__init__(_printable(place + problem))
        self.line = line
        self.column = column
        self.value = value


@dataclass(frozen=True, slots=True, kw_only=True)
class FileWarning:
    """Something the reader did or could not know; the file was still taken."""

    code: str
    message: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "message", _printable(self.message))


@dataclass(frozen=True, slots=True, kw_only=True)
class Conditions:
    """Under what a sample was measured; None where the file does not say."""

    illuminant: str | None = None  # D65, A, F11, LED-B3
    observer: int | None = None  # 2 or 10, degrees
    geometry: str | None = None  # 45:0, d:8, as CIE 15 writes it without the degree signs
    specular: Specular | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One reading of a sample at one angle; at least one of lab, xyz and reflectance is there."""

    line: int  # of the file, from 1
    angle: int | None = None  # aspecular degrees; None for an instrument with one geometry
    repeat: int | None = None  # as the file numbers it
    lab: Triple | None = None
    xyz: Triple | None = None  # as in the file: Y of the white is 100 unless a warning says else
    reflectance: tuple[float, ...] | None = None  # share of 1, at the sample's wavelengths
    surface_temperature_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """One named thing and every reading of it under one set of conditions."""

    name: str | None
    readings: tuple[Reading, ...]
    conditions: Conditions = Conditions()
    wavelengths_nm: tuple[float, ...] | None = None
    stage: Stage | None = None
    instrument: str | None = None

    def angles(self) -> tuple[int | None, ...]:
        """Every angle that was read, in the order of the file."""
        return tuple(dict.fromkeys(reading.angle for reading in self.readings))

    def labs_by_angle(self) -> dict[int | None, tuple[Triple, ...]]:
        """The repeat readings of each angle; angles without Lab are left out."""
        found: dict[int | None, list[Triple]] = {}
        for reading in self.readings:
            if reading.lab is not None:
                found.setdefault(reading.angle, []).append(reading.lab)
        return {angle: tuple(labs) for angle, labs in found.items()}

    def temperatures_c(self) -> tuple[float, ...]:
        """Surface temperatures, of the readings that have one."""
        found = (reading.surface_temperature_c for reading in self.readings)
        return tuple(value for value in found if value is not None)

    def as_json(self) -> dict[str, object]:
        """The sample as the ``read`` command prints it; repeats are averaged as Lab, per angle."""
        angles = self.angles()
        only_one = len(angles) == 1
        labs = {angle: mean(repeats) for angle, repeats in self.labs_by_angle().items()}
        spectra = [r.reflectance for r in self.readings if r.reflectance is not None]
        triples = [r.xyz for r in self.readings if r.xyz is not None]
        spectrum = None
        if only_one and spectra and self.wavelengths_nm is not None:
            spectrum = {"wavelengths_nm": list(self.wavelengths_nm), "reflectance": mean(spectra)}
        by_angle = {str(angle): lab for angle, lab in labs.items() if angle is not None}
        return {
            "name": self.name,
            "lab": labs.get(angles[0]) if only_one else None,
            "xyz": mean(triples) if only_one and triples else None,
            "spectrum": spectrum,
            "conditions": {
                "illuminant": self.conditions.illuminant,
                "observer": self.conditions.observer,
                "geometry": self.conditions.geometry,
                "specular": self.conditions.specular,
            },
            "angles": by_angle or None,
            "stage": self.stage,
            "instrument": self.instrument,
            "repeats": [
                _repeat_as_json(r, spectrum is None or len(spectra) > 1) for r in self.readings
            ],
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingsFile:
    """All samples of one file, in its order, and what the reader has to say about it."""

    format: str  # csv, cgats or cxf
    samples: tuple[Sample, ...]
    warnings: tuple[FileWarning, ...] = ()

    def as_json(self) -> dict[str, object]:
        """The whole file as the ``read`` command prints it."""
        return {
            "format": self.format,
            "samples": [sample.as_json() for sample in self.samples],
            "warnings": [{"code": w.code, "message": w.message} for w in self.warnings],
        }


def mean(rows: Sequence[Sequence[float]]) -> list[float]:
    """Mean of each column, each sum rounded once, so that the order of the rows is no matter."""
    if len(rows) == 1:
        return list(rows[0])
    return [fsum(column) / len(rows) for column in zip(*rows, strict=True)]


def _repeat_as_json(reading: Reading, with_spectrum: bool) -> Mapping[str, object]:
    """One reading; a spectrum that is the sample's only one is not written twice."""
    return {
        "line": reading.line,
        "angle": reading.angle,
        "repeat": reading.repeat,
        "lab": reading.lab,
        "xyz": reading.xyz,
        "reflectance": reading.reflectance if with_spectrum else None,
        "surface_temperature_c": reading.surface_temperature_c,
    }
