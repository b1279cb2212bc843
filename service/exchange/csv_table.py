"""Lines to cells: comments, the header, the delimiter and quoted cells of a readings table."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from service.exchange.csv_headings import Headings, understand
from service.exchange.csv_values import LONGEST_TEXT, NUMBER
from service.exchange.readings import FileWarning, ReadingsRefused

LINES_BEFORE_HEADER = 40
MOST_COMMENTS = 10_000
MOST_COLUMNS = 10_000
_LONGEST_STATEMENT = 1_000
_LINES_IN_A_CELL = 20
DELIMITERS = {";": "semicolons", "\t": "tabs", ",": "commas", "|": "upright bars"}
_SEPARATOR_LINE = re.compile(r'"?sep=(.)"?', re.I)
# What a first column holds that is different in each row and still names nothing.
_NO_NAME = re.compile(r"date|time|stamp|datum|zeit|comment|remark|note|hex|rgb|#", re.I)
STATEMENT = re.compile(
    r'"?#?\s*"?(?P<key>[A-Za-z][A-Za-z /_()-]*?)"?\s*[:=;,|\t]\s*"?(?P<value>.*?)["\s;,|]*'
)


@dataclass(slots=True)
class Table:
    """A table whose header is understood and whose rows are still text."""

    lines: list[str]
    delimiter: str
    headings: Headings
    header_line: int  # from 1
    first_row: int  # place in lines, from 0
    statements: list[tuple[int, str, str]]  # line, key, value: what stands before the header
    skipped: list[int] = field(default_factory=list)  # lines before the header that say nothing

    def rows(self) -> Iterator[tuple[int, list[str]]]:
        """Line number and stripped cells of each row that is neither blank nor a comment."""
        place = self.first_row
        while place < len(self.lines):
            if _blank(self.lines[place]) or _comment(self.lines[place]):
                place += 1
                continue
            cells, used = _record(self.lines, place, self.delimiter)
            cells = [cell.strip() for cell in cells]
            if any(cells):
                yield place + 1, cells
            place += used

    def comments(self) -> Iterator[tuple[int, str]]:
        """Line number and text of each comment below the header."""
        for place in range(self.first_row, len(self.lines)):
            if _comment(self.lines[place]):
                yield place + 1, self.lines[place]

    def warnings(self) -> Iterator[FileWarning]:
        """What was taken leniently in finding the table."""
        if self.delimiter != ",":
            yield FileWarning(
                code="delimiter",
                message=f"The cells are separated by {DELIMITERS[self.delimiter]}, not commas.",
            )
        if self.skipped:
            yield FileWarning(
                code="lines_skipped",
                message=f"{_lines(self.skipped)} before the header was passed over.",
            )
        if self.headings.bare_angles:
            names = ", ".join(self.headings.bare_angles)
            yield FileWarning(
                code="angle_from_heading",
                message=f"The number at the end of these headings was taken as an angle: {names}.",
            )
        if self.headings.ignored:
            names = ", ".join(f"'{name}'" for name in self.headings.ignored)
            yield FileWarning(code="columns_ignored", message=f"Columns not read: {names}.")


def find_table(lines: list[str]) -> Table:
    """The header and the delimiter it is understood with best; refuses a file that has none."""
    statements: list[tuple[int, str, str]] = []
    skipped: list[int] = []
    delimiters = list(DELIMITERS)
    partial: tuple[int, Headings] | None = None
    first_text: int | None = None
    comments = 0
    for place, line in enumerate(lines):
        if _blank(line):
            continue
        if _comment(line.lstrip('"')):  # a spreadsheet quotes a comment that holds a comma
            comments += 1
            if comments > MOST_COMMENTS:
                raise ReadingsRefused(
                    f"more than {MOST_COMMENTS:,} comments stand before the table. Remove them.",
                    line=place + 1,
                )
            if stated := stated_in(line):
                statements.append((place + 1, *stated))
            continue
        if first_text is None and (separator := _SEPARATOR_LINE.fullmatch(line.strip())):
            if separator[1] in DELIMITERS:
                delimiters = [separator[1]]
                continue
        first_text = place if first_text is None else first_text
        headings, delimiter, used = _best_header(lines, place, delimiters)
        if headings.complete():
            return Table(lines, delimiter, headings, place + 1, place + used, statements, skipped)
        if partial is None and headings.channels:
            partial = (place + 1, headings)
        if looks_like_row(line):
            break
        if stated := stated_in(line):
            statements.append((place + 1, *stated))
        skipped.append(place + 1)
        if len(skipped) > LINES_BEFORE_HEADER:
            break
    raise _no_header(lines, partial, first_text)


def stated_in(line: str) -> tuple[str, str] | None:
    """Key and value of a line of the form '# illuminant: D65'; None if it is none."""
    if len(line) > _LONGEST_STATEMENT:
        return None
    stated = STATEMENT.fullmatch(line.strip())
    return (stated["key"], stated["value"]) if stated else None


def take_names_from_first_column(table: Table) -> Iterator[FileWarning]:
    """Where no column of a table of spectra is headed as one of names, but the first must be.

    Rows of L*, a*, b* stay unnamed, since whoever judges a card may have counted its repeats.
    """
    headings = table.headings
    kinds = {key.kind for key in headings.channels}
    if "name" in headings.fields or not headings.names or "spectrum" not in kinds:
        return
    used = [place for places in headings.channels.values() for place in places.values()]
    if 0 in used or 0 in headings.fields.values() or _NO_NAME.search(headings.names[0]):
        return
    seen: set[str] = set()
    for _, cells in table.rows():
        if not cells[0] or cells[0] in seen or len(cells[0]) > LONGEST_TEXT:
            return
        seen.add(cells[0])
    if "lab" in kinds and all(text.isdecimal() for text in seen):
        return
    headings.fields["name"] = 0
    if headings.names[0] in headings.ignored:
        headings.ignored.remove(headings.names[0])
    yield FileWarning(
        code="names_from_first_column",
        message=f"The first column, headed '{headings.names[0]}', was taken as the names.",
    )


def _no_header(
    lines: list[str], partial: tuple[int, Headings] | None, first_text: int | None
) -> ReadingsRefused:
    if partial is not None:
        line, headings = partial
        there = ", ".join(f"'{name}'" for name in headings.names if name)
        return ReadingsRefused(
            f"the header has no column for {' or '.join(headings.missing())}. "
            f"It has: {_shortened(there)}. Add the missing column.",
            line=line,
        )
    if first_text is None:
        return ReadingsRefused("The file holds no table. Begin it with a line such as L,a,b")
    return ReadingsRefused(
        f"no header with L*, a*, b* or X, Y, Z or wavelengths was found before the readings; "
        f"here stands '{_shortened(lines[first_text].strip())}'. "
        "Begin the table with a line such as L,a,b",
        line=first_text + 1,
    )


def _best_header(lines: list[str], place: int, delimiters: list[str]) -> tuple[Headings, str, int]:
    best: tuple[Headings, str, int] | None = None
    refusal: ReadingsRefused | None = None
    for delimiter in delimiters:
        try:
            cells, used = _record(lines, place, delimiter)
            if len(cells) > MOST_COLUMNS:
                raise ReadingsRefused(
                    f"the line has {len(cells):,} columns; at most {MOST_COLUMNS:,} are read. "
                    "Export the readings again.",
                    line=place + 1,
                )
            headings = understand(cells, place + 1)
        except ReadingsRefused as error:
            refusal = refusal or error
            continue
        if best is None or headings.recognised() > best[0].recognised():
            best = headings, delimiter, used
    if best is None or (refusal is not None and not best[0].complete()):
        assert refusal is not None
        raise refusal
    return best


def _record(lines: list[str], place: int, delimiter: str) -> tuple[list[str], int]:
    """Cells of the record that begins on a line, and how many lines it runs over."""
    if '"' not in lines[place]:
        return lines[place].split(delimiter), 1
    for used in range(1, _LINES_IN_A_CELL + 1):
        try:
            text = ["\n".join(lines[place : place + used])]
            (cells,) = csv.reader(text, delimiter=delimiter, strict=True, skipinitialspace=True)
        except csv.Error as error:
            if "unexpected end of data" in str(error) and place + used < len(lines):
                continue
            raise ReadingsRefused(
                'the quotation marks do not pair. Close each quoted cell with " and double a '
                'quotation mark inside one, as "5"" card".',
                line=place + 1,
            ) from None
        return cells, used
    raise ReadingsRefused(
        f"a quoted cell is still open after {_LINES_IN_A_CELL} lines. Close it.", line=place + 1
    )


def _blank(line: str) -> bool:
    return not line.strip(' \t;,|"\ufeff\u00a0')


def _comment(line: str) -> bool:
    return line.lstrip().startswith("#")


def looks_like_row(line: str) -> bool:
    """Whether three or more plain numbers stand in cells of their own."""
    return any(
        sum(NUMBER.fullmatch(cell.strip(' "')) is not None for cell in line.split(delimiter)) >= 3
        for delimiter in DELIMITERS
    )


def _lines(numbers: list[int]) -> str:
    if len(numbers) == 1:
        return f"Line {numbers[0]}"
    return "Each of the lines " + ", ".join(map(str, numbers))


def _shortened(text: str, longest: int = 200) -> str:
    return text if len(text) <= longest else text[: longest - 1] + "…"
