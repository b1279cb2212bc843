"""Readings as they are found in an exchange file to samples: which are repeats of one thing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from math import dist

from service.exchange.csv_statements import About
from service.exchange.readings import Conditions, FileWarning, Reading, Sample

# Beyond this two readings are of different colours, whatever they are called. The units are
# CIELAB, hundredths of the white's Y, and shares of 1.
_FAR_LAB, _FAR_XYZ, _FAR_REFLECTANCE = 5.0, 5.0, 0.1
_MOST_COMPARED = 50


@dataclass(frozen=True, slots=True)
class Found:
    """One reading, with what its file says of it."""

    name: str | None
    about: About
    reading: Reading
    wavelengths_nm: tuple[float, ...] | None = None
    place: int = 0  # the table it stands in: rows of two tables are never repeats
    apart: str | None = None  # what else tells things of one name apart, as where on a chart


@dataclass(slots=True)
class _Group:
    first: Found
    readings: list[Reading] = field(default_factory=list)


def samples_of(found: Sequence[Found]) -> tuple[tuple[Sample, ...], list[FileWarning]]:
    """Every sample in the order of the file, and what its grouping took for granted.

    Readings of one name, under the same conditions in one table, are repeats, unless they lie
    so far apart that they cannot be of one thing. Angles of one name belong together wherever
    they stand.
    """
    if len({one.name for one in found}) == len(found):
        # Nothing repeats, so there is nothing to group; a large file is mostly this.
        alone = tuple([_sample(one, (one.reading,)) for one in found])
        return alone, [*_warnings((), (), [sample.name for sample in alone])]
    groups: list[_Group] = []
    by_key: dict[object, _Group] = {}
    for one in found:
        about = one.about
        key = (
            one.name,
            about.conditions,
            about.stage,
            about.instrument,
            one.wavelengths_nm,
            one.place if about.angle is None else None,
            about.angle is None,
            one.apart,
        )
        group = by_key.get(key) if one.name is not None else None
        if group is None:
            group = _Group(one)
            groups.append(group)
            if one.name is not None:
                by_key[key] = group
        group.readings.append(one.reading)
    repeated, apart, samples = [], [], []
    for group in groups:
        angles = {reading.angle for reading in group.readings}
        if len(group.readings) == len(angles):
            samples.append(_sample(group.first, group.readings))
        elif _far_apart(group.readings):
            apart.append(group.first.name)
            samples += [_sample(group.first, [reading]) for reading in group.readings]
        else:
            repeated.append(group.first.name)
            samples.append(_sample(group.first, group.readings))
    return tuple(samples), [*_warnings(repeated, apart, [s.name for s in samples])]


def _sample(first: Found, readings: Sequence[Reading]) -> Sample:
    return Sample(
        name=first.name,
        readings=tuple(readings),
        conditions=first.about.conditions,
        wavelengths_nm=first.wavelengths_nm,
        stage=first.about.stage,
        instrument=first.about.instrument,
    )


def _far_apart(readings: Sequence[Reading]) -> bool:
    return any(
        one.angle == other.angle and _differ(one, other)
        for one, other in combinations(readings[:_MOST_COMPARED], 2)
    )


def _differ(one: Reading, other: Reading) -> bool:
    if one.lab and other.lab:
        return dist(one.lab, other.lab) > _FAR_LAB
    if one.xyz and other.xyz:
        return max(abs(a - b) for a, b in zip(one.xyz, other.xyz, strict=True)) > _FAR_XYZ
    if one.reflectance and other.reflectance:
        pairs = zip(one.reflectance, other.reflectance, strict=True)
        return max(abs(a - b) for a, b in pairs) > _FAR_REFLECTANCE
    return True


def _warnings(
    repeated: Sequence[str | None], apart: Sequence[str | None], names: Sequence[str | None]
) -> Iterator[FileWarning]:
    if repeated:
        yield FileWarning(
            code="repeats_by_name",
            message=f"Readings under one name were taken as repeats: {_listed(repeated)}.",
        )
    if apart:
        yield FileWarning(
            code="one_name_many_colours",
            message=f"Readings under one name are too unlike to be repeats and were kept apart: "
            f"{_listed(apart)}. Give each thing a name of its own.",
        )
    if None in names:
        yield FileWarning(
            code="no_names",
            message="Some samples carry no name, so each was kept as a sample of its own.",
        )


def divided(found: Sequence[Found], divisor: float) -> list[Found]:
    """The same with the reflectance as shares of 1."""
    if divisor == 1:
        return list(found)
    return [
        one
        if one.reading.reflectance is None
        else replace(
            one,
            reading=replace(
                one.reading, reflectance=tuple([v / divisor for v in one.reading.reflectance])
            ),
        )
        for one in found
    ]


def joined(found: Sequence[Found]) -> tuple[list[Found], bool]:
    """Tables that hold different things of the same samples, put together; and whether any are.

    Exporters write L*, a*, b* in one table and the spectra in a second. Only a whole table is
    joined, whose every name stands once in an earlier one that lacks what it holds.
    """
    tables: dict[int, list[Found]] = {}
    for one in found:
        tables.setdefault(one.place, []).append(one)
    done: list[list[Found]] = []
    any_joined = False
    for later in tables.values():
        for at, earlier in enumerate(done):
            together = _together(earlier, later)
            if together is not None:
                done[at], any_joined = together, True
                break
        else:
            done.append(later)
    return [one for table in done for one in table], any_joined


def _together(earlier: Sequence[Found], later: Sequence[Found]) -> list[Found] | None:
    places = {(one.name, one.about.angle): at for at, one in enumerate(earlier)}
    if len(places) < len(earlier) or len({(o.name, o.about.angle) for o in later}) < len(later):
        return None
    whole = list(earlier)
    for one in later:
        at = places.get((one.name, one.about.angle))
        if one.name is None or at is None:
            return None
        both = _one_of(earlier[at], one)
        if both is None:
            return None
        whole[at] = both
    return whole


def _one_of(first: Found, second: Found) -> Found | None:
    """Both as one reading; None where they hold the same kind of thing or differ in conditions."""
    one, other = first.reading, second.reading
    kinds = ("lab", "xyz", "reflectance")
    if any(getattr(one, kind) and getattr(other, kind) for kind in kinds):
        return None
    here, there = first.about, second.about
    fields = ("illuminant", "observer", "geometry", "specular")
    known = {name: getattr(here.conditions, name) for name in fields}
    for name in fields:
        told = getattr(there.conditions, name)
        if known[name] is not None and told is not None and known[name] != told:
            return None
        known[name] = told if known[name] is None else known[name]
    return replace(
        first,
        about=replace(
            here,
            conditions=Conditions(**known),
            instrument=here.instrument or there.instrument,
        ),
        reading=replace(
            one,
            lab=one.lab or other.lab,
            xyz=one.xyz or other.xyz,
            reflectance=one.reflectance or other.reflectance,
        ),
        wavelengths_nm=first.wavelengths_nm or second.wavelengths_nm,
    )


def _listed(names: Sequence[str | None], most: int = 10) -> str:
    shown = ", ".join(str(name) for name in names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
