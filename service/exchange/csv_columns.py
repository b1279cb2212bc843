"""Tables turned on their side: wavelengths down the first column, one sample in each other one.

Spectrometers and published data sets write spectra so (as seen in public files).
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import isfinite

from service.exchange.condition_warnings import missing_conditions
from service.exchange.csv_headings import understand
from service.exchange.csv_statements import read_statements
from service.exchange.csv_table import DELIMITERS, MOST_COMMENTS, stated_in
from service.exchange.csv_values import NUMBER, Numbers, read_text
from service.exchange.field_names import FIRST_NM, LAST_NM, spectral_names
from service.exchange.readings import FileWarning, Reading, ReadingsFile, ReadingsRefused, Sample
from service.exchange.spectrum_scale import Extremes, divisor_of

_HEADING = re.compile(
    r"(wave\s*-?lengths?|wl|wave|lambda|λ|nm|nano\s*met(er|re)s?|wellenlänge|longueur d'onde)"
    r"[\s_/]*[(\[]?\s*(nm|nano\s*met(er|re)s?)?\s*[)\]]?",
    re.I,
)
_FEWEST = 4
_MOST_BEFORE_HEADER = 40
_MOST_SAMPLES = 20_000
_MOST_BANDS = 5_000
_MOST_UNIT_ROWS = 3
_PERCENT = re.compile(r"%|\bper\s?cent\b|\bpct\b", re.I)


@dataclass(slots=True)
class Columns:
    """A turned table, its cells still text."""

    names: list[str]  # of the samples, as headed
    header_line: int
    rows: list[tuple[int, list[str]]]  # line and cells, the first being the wavelength
    delimiter: str
    statements: list[tuple[int, str, str]] = field(default_factory=list)
    skipped: list[int] = field(default_factory=list)
    percent: bool = False


def find_columns(lines: Sequence[str]) -> Columns | None:
    """The turned table of a text; None if it holds none."""
    statements: list[tuple[int, str, str]] = []
    skipped: list[int] = []
    comments = 0
    for place, line in enumerate(lines):
        text = line.strip()
        if not text.strip(';,|"\ufeff'):
            continue
        if text.lstrip('"').startswith("#"):
            comments += 1
            if comments > MOST_COMMENTS:
                return None
            if stated := stated_in(line):
                statements.append((place + 1, *stated))
            continue
        for delimiter in DELIMITERS:
            found = _table(lines, place, delimiter)
            if found is not None:
                found.statements, found.skipped = statements, skipped + found.skipped
                return found
        skipped.append(place + 1)
        if len(skipped) > _MOST_BEFORE_HEADER:
            return None
        if stated := stated_in(line):
            statements.append((place + 1, *stated))
    return None


def _table(lines: Sequence[str], place: int, delimiter: str) -> Columns | None:
    names = _cells(lines[place], delimiter)
    while names and not names[-1]:
        names.pop()
    said = names[0].strip("\ufeff ") if names else ""
    if len(names) < 2 or not (_HEADING.fullmatch(said) or not said):
        return None
    if not said and (len(spectral_names(names)) > 2 or _has_colours(names, place + 1)):
        return None  # not turned: numbers down the first column may count the rows
    found = Columns(names[1:], place + 1, [], delimiter)
    for number, line in enumerate(lines[place + 1 :], place + 2):
        if not line.strip(' \t;,|"') or line.lstrip().startswith("#"):
            continue
        cells = _cells(line, delimiter)
        first = _number(cells[0].lower().removesuffix("nm").strip())
        if first is None and not found.rows and not said.isnumeric():
            units = [cell for cell in cells if cell]
            if len(found.skipped) >= _MOST_UNIT_ROWS:
                return None
            if len(units) <= len(names) and not any(map(_number, cells)):
                found.percent |= any(_PERCENT.fullmatch(unit.strip("()[] ")) for unit in units)
                found.skipped.append(number)  # a row of units
                continue
        if first is None or not FIRST_NM <= first <= LAST_NM:
            if len(found.rows) < _FEWEST:
                return None
            raise ReadingsRefused(
                f"'{cells[0][:40]}' is not a wavelength from {FIRST_NM:g} to {LAST_NM:g} nm. "
                "Remove the line, or correct it.",
                line=number,
            )
        found.rows.append((number, cells))
        if len(found.rows) > _MOST_BANDS:
            raise ReadingsRefused(
                f"the table has more than {_MOST_BANDS:,} wavelengths. Export the readings again.",
                line=number,
            )
    return found if len(found.rows) >= _FEWEST and _one_way(found) else None


def _has_colours(names: Sequence[str], line: int) -> bool:
    try:
        return understand(names, line).complete()
    except ReadingsRefused:
        return True


def _one_way(found: Columns) -> bool:
    values = [_number(cells[0].lower().removesuffix("nm").strip()) or 0 for _, cells in found.rows]
    steps = [b - a for a, b in pairwise(values)]
    return all(step > 0 for step in steps) or all(step < 0 for step in steps)


def _cells(line: str, delimiter: str) -> list[str]:
    if '"' in line:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter))]
    return [cell.strip() for cell in line.split(delimiter)]


def _number(cell: str) -> float | None:
    return float(cell.replace(",", ".")) if NUMBER.fullmatch(cell) else None


def read_columns(found: Columns, warnings: Sequence[FileWarning]) -> ReadingsFile:
    """Every column as a sample of its own."""
    if len(found.names) > _MOST_SAMPLES:
        raise ReadingsRefused(
            f"the table has more than {_MOST_SAMPLES:,} columns. Split it into smaller files.",
            line=found.header_line,
        )
    stated = read_statements(found.statements)
    numbers, seen = Numbers(), Extremes()
    bands: list[float] = []
    kept = [
        at
        for at in range(len(found.names))
        if any(cells[at + 1] for _, cells in found.rows if at + 1 < len(cells))
    ]
    if not kept:
        raise ReadingsRefused(
            "no column holds a value. Export the readings again.", line=found.header_line
        )
    columns: list[list[float]] = [[] for _ in kept]
    shown = [found.names[at] or f"column {at + 2}" for at in kept]
    for line, cells in found.rows:
        bands.append(_number(cells[0].lower().removesuffix("nm").strip()) or 0)
        if any(cells[len(found.names) + 1 :]):
            raise ReadingsRefused(
                f"the row has {len(cells)} values under {len(found.names) + 1} headings. Check "
                "the row.",
                line=line,
            )
        cells += [""] * (len(found.names) + 1 - len(cells))
        texts = [cells[at + 1] for at in kept]
        values = _fast(texts) if numbers.mark == "." else None
        if values is None:
            values = [
                numbers.read(text.removesuffix("%").rstrip(), line, name)
                for text, name in zip(texts, shown, strict=True)
            ]
        seen.see(values, line, shown, texts[0].endswith("%"))
        for column, value in zip(columns, values, strict=True):
            column.append(value)
    seen.spectra = len(kept)
    headed_percent = found.percent or any(_PERCENT.search(name) for name in found.names)
    divisor, said = divisor_of(
        seen, stated.reflectance_divisor or (100 if headed_percent else None)
    )
    order = sorted(range(len(bands)), key=bands.__getitem__)
    samples = [
        Sample(
            name=read_text(name, found.header_line, name),
            readings=(
                Reading(
                    line=found.header_line,
                    angle=stated.about.angle,
                    reflectance=tuple([column[at] / divisor for at in order]),
                ),
            ),
            conditions=stated.about.conditions,
            wavelengths_nm=tuple([bands[at] for at in order]),
            stage=stated.about.stage,
            instrument=stated.about.instrument,
        )
        for name, column in zip([found.names[at] for at in kept], columns, strict=True)
    ]
    return ReadingsFile(
        format="csv",
        samples=tuple(samples),
        warnings=(
            *warnings,
            *_warnings(found, samples, numbers),
            *said,
            *missing_conditions(samples),
        ),
    )


def _fast(texts: Sequence[str]) -> list[float] | None:
    """All numbers where they are plain ones with decimal points; None where a look is needed."""
    try:
        values = list(map(float, texts))
    except ValueError:
        return None
    return values if isfinite(sum(values)) and "_" not in "".join(texts) else None


def _warnings(found: Columns, samples: Sequence[Sample], numbers: Numbers) -> list[FileWarning]:
    said = [
        FileWarning(
            code="spectra_in_columns",
            message=f"The wavelengths stand in the first column; each of the {len(samples):,} "
            "other columns was taken as a sample.",
        )
    ]
    if found.delimiter != ",":
        said.append(
            FileWarning(
                code="delimiter",
                message=f"The cells are separated by {DELIMITERS[found.delimiter]}, not commas.",
            )
        )
    if numbers.mark == ",":
        said.append(
            FileWarning(
                code="decimal_comma", message="The numbers are written with decimal commas."
            )
        )
    if found.skipped:
        lines = ", ".join(map(str, found.skipped))
        said.append(
            FileWarning(
                code="lines_skipped", message=f"Lines passed over before the readings: {lines}."
            )
        )
    return said
