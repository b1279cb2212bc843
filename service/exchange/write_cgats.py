"""Readings as a CGATS.17 (ISO 28178) text by the book: counted, quoted, declared, seven-bit.

A table holds readings made alike: under the same conditions, at one angle, with the same values.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from service.exchange.kept_text import kept_text
from service.exchange.readings import Conditions, Reading, ReadingsRefused, Sample

_END = "\r\n"


class _Alike(NamedTuple):
    """What the readings of one table share."""

    conditions: Conditions
    stage: str | None
    instrument: str | None
    angle: int | None
    wavelengths_nm: tuple[float, ...] | None
    with_lab: bool
    with_xyz: bool


def write_cgats(samples: Sequence[Sample], *, created: datetime) -> bytes:
    """Every reading of the samples, one a row; repeats carry the same name.

    Raises
    ------
    ReadingsRefused
        Where there is nothing to write.
    """
    tables: dict[_Alike, list[tuple[str, Reading]]] = {}
    for number, sample in enumerate(samples, 1):
        name = _text(sample.name) or f"sample {number}"
        for reading in sample.readings:
            tables.setdefault(_alike(sample, reading), []).append((name, reading))
    if not tables:
        raise ReadingsRefused("There are no readings to export. Read a card first.")
    lines = ["CGATS.17"]
    for alike, rows in tables.items():
        # Each table says all of itself, so that none takes over what the one before says.
        lines += ['ORIGINATOR "Keepcard"', f'CREATED "{created.isoformat()}"']
        lines += _table(alike, rows)
    return (_END.join(lines) + _END).encode("ascii")


def _alike(sample: Sample, reading: Reading) -> _Alike:
    return _Alike(
        conditions=sample.conditions,
        stage=sample.stage,
        instrument=sample.instrument,
        angle=reading.angle,
        wavelengths_nm=sample.wavelengths_nm if reading.reflectance is not None else None,
        with_lab=reading.lab is not None,
        with_xyz=reading.xyz is not None,
    )


def _table(alike: _Alike, rows: Sequence[tuple[str, Reading]]) -> Iterator[str]:
    yield from _header(alike)
    fields = ["SAMPLE_ID", "SAMPLE_NAME"]
    fields += ["LAB_L", "LAB_A", "LAB_B"] if alike.with_lab else []
    fields += ["XYZ_X", "XYZ_Y", "XYZ_Z"] if alike.with_xyz else []
    bands = [f"SPECTRAL_NM{_number(nm)}" for nm in alike.wavelengths_nm or ()]
    # One field a wavelength is what programs read; the standard wants such names declared.
    yield from (f'KEYWORD "{band}"' for band in bands)
    fields += bands
    yield f"NUMBER_OF_FIELDS {len(fields)}"
    yield "BEGIN_DATA_FORMAT"
    yield "\t".join(fields)
    yield "END_DATA_FORMAT"
    yield f"NUMBER_OF_SETS {len(rows)}"
    yield "BEGIN_DATA"
    for number, (name, reading) in enumerate(rows, 1):
        values = [*(reading.lab or ()), *(reading.xyz or ()), *(reading.reflectance or ())]
        yield "\t".join([str(number), f'"{name}"', *map(_number, values)])
    yield "END_DATA"


def _header(alike: _Alike) -> Iterator[str]:
    known = alike.conditions
    if alike.instrument:
        yield f'INSTRUMENTATION "{_text(alike.instrument)}"'
    if known.geometry is not None:
        yield f'MEASUREMENT_GEOMETRY "{_text(known.geometry)}"'
    if known.illuminant is not None:
        yield f'WEIGHTING_FUNCTION "ILLUMINANT, {_text(known.illuminant)}"'
    if known.observer is not None:
        yield f'WEIGHTING_FUNCTION "OBSERVER, {known.observer} degree"'
    for key, value in (
        ("SPECULAR", known.specular),
        ("ANGLE", alike.angle),
        ("STAGE", alike.stage),
        ("SPECTRAL_NORM", 1 if alike.wavelengths_nm else None),
    ):
        if value is not None:
            yield f'KEYWORD "{key}"'
            yield f'{key} "{value}"'


def _text(text: str | None) -> str:
    """Seven-bit text that stands between quotation marks; a letter keeps its base."""
    plain = unicodedata.normalize("NFKD", kept_text(text) or "").replace('"', "'")
    base = "".join(sign for sign in plain if not unicodedata.combining(sign))
    return base.encode("ascii", "replace").decode("ascii")


def _number(value: float) -> str:
    """The shortest digits that give the same number again, never with an exponent."""
    digits = format(Decimal(repr(float(value))), "f")
    return digits.rstrip("0").rstrip(".") if "." in digits else digits
