"""Readings from CSV as instrument software and spreadsheets write it; all of a file or nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from service.exchange.condition_warnings import missing_conditions
from service.exchange.csv_columns import find_columns, read_columns
from service.exchange.csv_rows import RowReader
from service.exchange.csv_samples import Grouping
from service.exchange.csv_statements import statement_field
from service.exchange.csv_table import (
    STATEMENT,
    Table,
    find_table,
    looks_like_row,
    take_names_from_first_column,
)
from service.exchange.readings import FileWarning, ReadingsFile, ReadingsRefused, Sample
from service.exchange.spectrum_scale import divisor_of

MOST_ROWS = 100_000


def read_csv(text: str, warnings: tuple[FileWarning, ...] = ()) -> ReadingsFile:
    """Everything in the table; ``warnings`` are those its decoding gave.

    Raises ReadingsRefused at the first thing that cannot be taken; nothing is taken in part.
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    columns = find_columns(lines)
    if columns is not None:
        return read_columns(columns, warnings)
    table = find_table(lines)
    names_said = list(take_names_from_first_column(table))
    reader = RowReader(table)
    remarks = list(_comment_warnings(table))
    grouping = Grouping(named="name" in reader.fields, numbered="repeat" in reader.fields)
    for count, (line, cells) in enumerate(table.rows(), 1):
        if count > MOST_ROWS:
            raise ReadingsRefused(
                f"the table has more than {MOST_ROWS:,} rows. Split it into smaller files.",
                line=line,
            )
        for row in reader.read(line, cells):
            grouping.add(row)
    if not grouping:
        raise ReadingsRefused(
            "the table has a header but no rows. Export the readings again.",
            line=table.header_line,
        )
    divisor, scale_warnings = divisor_of(reader.reflectances, reader.divisor)
    samples = grouping.samples(reader.wavelengths)
    if divisor != 1:
        samples = tuple(_divided(sample, divisor) for sample in samples)
    return ReadingsFile(
        format="csv",
        samples=samples,
        warnings=(
            *warnings,
            *table.warnings(),
            *names_said,
            *remarks,
            *reader.warnings(),
            *scale_warnings,
            *grouping.warnings(),
            *missing_conditions(samples, column=", or in a column"),
        ),
    )


def _divided(sample: Sample, divisor: int) -> Sample:
    readings = tuple(
        reading
        if reading.reflectance is None
        else replace(reading, reflectance=tuple(v / divisor for v in reading.reflectance))
        for reading in sample.readings
    )
    return replace(sample, readings=readings)


def _comment_warnings(table: Table) -> Iterator[FileWarning]:
    """Comments below the header: conditions there come too late, rows there are not read."""
    rows = []
    for line, text in table.comments():
        stated = STATEMENT.fullmatch(text.strip())
        if stated and statement_field(stated["key"]) is not None:
            raise ReadingsRefused(
                f"'{text.strip()}' stands below the header. State it above, or in a column.",
                line=line,
            )
        if looks_like_row(text.lstrip("# ")):
            rows.append(line)
    if rows:
        yield FileWarning(
            code="row_in_comment",
            message=f"{len(rows)} comments look like rows of readings, the first on line "
            f"{rows[0]}; they were not read. Put a name that begins with # in quotation marks.",
        )
