"""What was lenient in reading a CGATS.17 file, in words; each kind once a table."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from service.exchange.cgats_fields import CgatsFields
from service.exchange.cgats_lines import CgatsTable
from service.exchange.kept_text import kept_text
from service.exchange.readings import FileWarning, Sample

_NAMED = ("CGATS", "IT8", "ISO28178", "ISO_28178")
_OF_A_TABLE = {
    "begin_of_format_missing": "has no BEGIN_DATA_FORMAT; line {} was taken as its field names",
    "end_of_format_missing": "has no END_DATA_FORMAT before line {}",
    "begin_of_data_missing": "has no BEGIN_DATA; its rows were taken to begin on line {}",
    "end_of_data_missing": "has no END_DATA; its rows were taken to end on line {}. Check that "
    "the file is whole",
    "format_of_table_before": "names no fields on line {}; those of the table before were taken",
    "row_over_lines": "holds rows over several lines, the first on line {}",
    "rows_on_one_line": "holds several rows on one line, first on line {}",
    "row_short": "holds rows with too few values, the first on line {}; the rest was taken as "
    "missing",
    "unusual_separator": "separates its values by commas or semicolons, first on line {}",
    "name_not_quoted": "holds names of several words without quotation marks, first on line {}",
    "row_left_out": "holds rows without a colour, the first on line {}; they were left out",
    "text_cleaned": "holds a name too long or with signs that cannot be shown, first on line {}; "
    "it was shortened or cleaned",
    "lines_skipped": "holds lines in its header that say nothing this program reads, first line {}",
}
_OF_VALUES = {
    "decimal_comma": "Numbers are written with decimal commas, first on line {}.",
    "value_missing": "Values are missing, first on line {}; those readings were left out.",
    "lab_from_lch": "a* and b* were worked out from chroma and hue, first on line {}.",
}


def frame_warnings(first_word: str, tables: Sequence[CgatsTable]) -> Iterator[FileWarning]:
    """About the file as a whole."""
    if not first_word.upper().startswith(_NAMED):
        yield FileWarning(
            code="not_named_cgats",
            message=f"The file begins with '{kept_text(first_word[:40]) or ''}', not with "
            "CGATS.17; it was read as a dialect of it.",
        )
    if len(tables) > 1:
        yield FileWarning(
            code="several_tables", message=f"The file holds {len(tables)} tables; all were read."
        )


def table_warnings(table: CgatsTable, fields: CgatsFields, rows: int) -> Iterator[FileWarning]:
    """About one table: its frame, its counts, and the fields that were not read."""
    for code, line in table.notes.items():
        message = f"Table {table.number} {_OF_A_TABLE[code].format(line)}."
        yield FileWarning(code=code, message=message)
    yield from _count_warning(table, "NUMBER_OF_FIELDS", len(table.fields), "fields")
    if not {"row_over_lines", "rows_on_one_line"} & set(table.notes):
        yield from _count_warning(table, "NUMBER_OF_SETS", rows, "rows")
    if fields.densities:
        yield FileWarning(
            code="density_ignored",
            message=f"Density fields are not read: {_listed(fields.densities)}.",
        )
    if fields.ignored:
        yield FileWarning(
            code="columns_ignored", message=f"Fields not read: {_listed(fields.ignored)}."
        )


def _count_warning(table: CgatsTable, key: str, count: int, what: str) -> Iterator[FileWarning]:
    stated = table.stated(key)
    if stated is None:
        yield FileWarning(
            code="count_missing",
            message=f"Table {table.number} does not state {key}; it has {count:,} {what}.",
        )
    elif stated[1].strip() != str(count):
        yield FileWarning(
            code="count_wrong",
            message=f"Table {table.number} states {key} {kept_text(stated[1][:20]) or ''} but has "
            f"{count:,} {what}; all were read.",
        )


def value_warnings(
    notes: Mapping[str, int], samples: Sequence[Sample], without_colour: Sequence[CgatsTable]
) -> Iterator[FileWarning]:
    """About the values of all tables."""
    for code, line in notes.items():
        yield FileWarning(code=code, message=_OF_VALUES[code].format(line))
    if without_colour:
        numbers = ", ".join(str(table.number) for table in without_colour[:10])
        yield FileWarning(
            code="table_without_colour",
            message=f"Tables without a colour this program reads were left out: {numbers}.",
        )
    triples = [r.xyz for sample in samples for r in sample.readings if r.xyz is not None]
    if triples and max(max(xyz) for xyz in triples) <= 1.2:
        yield FileWarning(
            code="xyz_scale_not_stated",
            message="X, Y, Z are all small. They were kept as written; CGATS.17 has Y of the "
            "white at 100.",
        )


def gathered(warnings: Sequence[FileWarning], most: int = 5) -> list[FileWarning]:
    """Each warning once, and of one code not more than can be read."""
    by_code: dict[str, list[FileWarning]] = {}
    for warning in dict.fromkeys(warnings):
        by_code.setdefault(warning.code, []).append(warning)
    found = []
    for code, alike in by_code.items():
        found += alike[:most]
        if len(alike) > most:
            more = f"The same is so {len(alike) - most:,} times more."
            found.append(FileWarning(code=code, message=more))
    return found


def _listed(names: Sequence[str], most: int = 12) -> str:
    shown = ", ".join(f"'{kept_text(name[:40]) or '?'}'" for name in names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
