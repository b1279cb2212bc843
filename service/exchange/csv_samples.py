"""Rows to samples: which readings are repeats of one thing, and which are not known to be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from service.domain.terms import Stage
from service.exchange.csv_statements import About
from service.exchange.readings import Conditions, FileWarning, Reading, ReadingsRefused, Sample


@dataclass(frozen=True, slots=True)
class RowReading:
    """One reading as it stands in a row."""

    name: str | None
    about: About
    reading: Reading


@dataclass(slots=True)
class _Group:
    name: str | None
    about: About
    readings: list[Reading] = field(default_factory=list)
    seen: dict[tuple[int | None, int | None], int] = field(default_factory=dict)


_Key = tuple[str | None, Conditions, Stage | None, str | None]


class Grouping:
    """Collects readings: by name where there are names, else never as repeats by a guess.

    Readings under unlike conditions are never one sample. Rows without names are samples of
    their own, save that rows numbered by a repeat column are one sample, and that rows at
    angles not yet seen go on with the sample before.
    """

    def __init__(self, *, named: bool, numbered: bool) -> None:
        self._named = named
        self._numbered = numbered
        self._groups: list[_Group] = []
        self._open: dict[_Key, _Group] = {}

    def __bool__(self) -> bool:
        return bool(self._groups)

    def add(self, row: RowReading) -> None:
        """Put one reading where it belongs."""
        about, reading = row.about, row.reading
        key = (row.name, about.conditions, about.stage, about.instrument)
        group = self._open.get(key)
        mark = (reading.angle, reading.repeat)
        if group is None or self._begins_anew(group, reading):
            group = _Group(row.name, about)
            self._groups.append(group)
            self._open[key] = group
        if self._numbered and mark in group.seen:
            where = "" if reading.angle is None else f" at {reading.angle}°"
            of = f" of '{row.name}'" if row.name else ""
            more = "" if row.name else ", or name the samples in a column headed name"
            raise ReadingsRefused(
                f"repeat {reading.repeat}{of}{where} stands on line {group.seen[mark]} already. "
                f"Number the repeats of one sample apart{more}.",
                line=reading.line,
                column="repeat",
                value=str(reading.repeat),
            )
        group.seen[mark] = reading.line
        group.readings.append(reading)

    def _begins_anew(self, group: _Group, reading: Reading) -> bool:
        if self._named or self._numbered:
            return False
        return reading.angle is None or (reading.angle, None) in group.seen

    def samples(self, wavelengths_nm: tuple[float, ...] | None) -> tuple[Sample, ...]:
        """Every sample, in the order of the file."""
        return tuple(
            Sample(
                name=group.name,
                readings=tuple(group.readings),
                conditions=group.about.conditions,
                wavelengths_nm=wavelengths_nm,
                stage=group.about.stage,
                instrument=group.about.instrument,
            )
            for group in self._groups
        )

    def warnings(self) -> Iterator[FileWarning]:
        """What the grouping had to take for granted."""
        if not self._named and not self._numbered and len(self._groups) > 1:
            yield FileWarning(
                code="no_names",
                message="The rows carry no names, so each was kept as a sample of its own. If "
                "they are repeats of one card, give each row its name or number them in a "
                "column headed repeat.",
            )
        if self._named and not self._numbered:
            repeated = [g.name for g in self._groups if len(g.readings) > len(g.seen)]
            if repeated:
                yield FileWarning(
                    code="repeats_by_name",
                    message=f"Rows under one name were taken as repeat readings: "
                    f"{_listed(repeated)}.",
                )
        copies = [g.name or f"line {g.readings[0].line}" for g in self._groups if _all_alike(g)]
        if copies:
            yield FileWarning(
                code="identical_repeats",
                message=f"All repeats are the same to the last digit: {_listed(copies)}. If one "
                "reading was copied, keep it once: copies make the uncertainty look smaller.",
            )


def _all_alike(group: _Group) -> bool:
    values = {(r.angle, r.lab, r.xyz, r.reflectance) for r in group.readings}
    return (
        len(group.readings) > 1
        and len(values) == len({r.angle for r in group.readings})
        and (len(values) < len(group.readings))
    )


def _listed(names: Sequence[str | None], most: int = 10) -> str:
    shown = ", ".join(str(name) for name in names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
