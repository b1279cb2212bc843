"""Readings from CGATS.17 (ISO 28178) texts and their dialects; all of a file or nothing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from service.exchange.cgats_fields import CgatsFields, Channels, is_format, understand
from service.exchange.cgats_header import CgatsHeader, read_header
from service.exchange.cgats_lines import CellReader, CgatsTable, find_tables
from service.exchange.cgats_notes import frame_warnings, gathered, table_warnings, value_warnings
from service.exchange.condition_warnings import missing_conditions
from service.exchange.csv_statements import About
from service.exchange.found_readings import Found, divided, samples_of
from service.exchange.kept_text import is_kept_whole, kept_text
from service.exchange.lenient_values import LenientNumbers
from service.exchange.readings import FileWarning, Reading, ReadingsFile, ReadingsRefused
from service.exchange.scale_evidence import find_divisor


def read_cgats(text: str, warnings: Sequence[FileWarning] = ()) -> ReadingsFile:
    """Everything in the file's tables; ``warnings`` are those its decoding gave.

    Raises ReadingsRefused at the first thing that cannot be taken; nothing is taken in part.
    """
    first_word, tables = find_tables(text, is_format)
    numbers = LenientNumbers()
    header = CgatsHeader()
    said = [*warnings, *frame_warnings(first_word, tables)]
    found: list[Found] = []
    without_colour: list[CgatsTable] = []
    for table in tables:
        header = read_header(table, header)
        fields = understand(table.fields)
        if not fields.hold_colour():
            without_colour.append(table)
            continue
        read = list(_TableReader(table, fields, header, numbers).read())
        divisor, scale_warnings = find_divisor(read, fields.divisor or header.divisor)
        found += divided(read, divisor)
        said += [*header.warnings, *table_warnings(table, fields, len(table.rows))]
        said += scale_warnings
    if not found:
        raise _nothing_found(tables, without_colour)
    samples, grouping_warnings = samples_of(found)
    said += [*value_warnings(numbers.notes, samples, without_colour), *grouping_warnings]
    said += missing_conditions(samples)
    return ReadingsFile(format="cgats", samples=samples, warnings=tuple(gathered(said)))


def _nothing_found(
    tables: Sequence[CgatsTable], without_colour: Sequence[CgatsTable]
) -> ReadingsRefused:
    if not tables:
        return ReadingsRefused(
            "This looks like a CGATS.17 file, but it holds no table of readings: no rows between "
            "BEGIN_DATA and END_DATA. Export the readings again."
        )
    if without_colour:
        table = without_colour[0]
        names = ", ".join(name[:30] for name in table.fields[:8]) or "none"
        shown = names if names.isprintable() else ascii(names)
        return ReadingsRefused(
            f"the fields hold no colour this program reads; they are: {shown}. Export L*, a*, b*, "
            "X, Y, Z or a reflectance spectrum.",
            line=table.fields_line or None,
        )
    return ReadingsRefused("The tables hold no rows. Export the readings again.")


class _TableReader:
    """Turns the rows of one table into readings."""

    def __init__(
        self,
        table: CgatsTable,
        fields: CgatsFields,
        header: CgatsHeader,
        numbers: LenientNumbers,
    ) -> None:
        self._table = table
        self._fields = fields
        self._numbers = numbers
        self._abouts = [_about_of(header.about, channels) for channels in fields.channels]
        self._about = header.about
        self._wavelengths = [
            tuple(channels.spectrum) if channels.spectrum else None for channels in fields.channels
        ]
        self._bands = [list(channels.spectrum.values()) for channels in fields.channels]
        self._names_of: dict[int, list[str]] = {}

    def read(self) -> Iterator[Found]:
        """Every reading; rows that hold none are left out and remembered."""
        names = self._fields.name_places
        for line, cells in CellReader(self._table, names[0] if names else None).rows():
            name = self._name(line, cells)
            angle = self._angle(line, cells)
            count = 0
            for place, channels in enumerate(self._fields.channels):
                about = self._abouts[place]
                if angle is not None:
                    about = replace(about, angle=angle)
                reading = self._reading(line, cells, channels, self._bands[place], about.angle)
                if reading is not None:
                    count += 1
                    yield Found(name, about, reading, self._wavelengths[place], self._table.number)
            if self._fields.pairs and (paired := self._paired(line, cells)) is not None:
                wavelengths, values = paired
                if count == 0:
                    about = self._about if angle is None else replace(self._about, angle=angle)
                    reading = Reading(line=line, angle=about.angle, reflectance=values)
                    count += 1
                    yield Found(name, about, reading, wavelengths, self._table.number)
            if count == 0:
                self._table.note("row_left_out", line)

    def _name(self, line: int, cells: list[str]) -> str | None:
        for place in self._fields.name_places:
            cell = cells[place]
            name = kept_text(cell)
            if name is not None:
                if not is_kept_whole(cell):
                    self._table.note("text_cleaned", line)
                return name
        return None

    def _angle(self, line: int, cells: list[str]) -> int | None:
        if self._fields.angle_place is None:
            return None
        text = cells[self._fields.angle_place].strip().lower().removeprefix("as").rstrip("°")
        values = self._numbers.read([text], line, ["angle"])
        if values is None:
            return None
        if values[0] != int(values[0]) or not -90 <= values[0] <= 175:
            raise ReadingsRefused(
                f"'{text[:40]}' is not an angle. Write whole degrees from the specular, as 45.",
                line=line,
                column=self._fields.names[self._fields.angle_place],
            )
        return int(values[0])

    def _reading(
        self,
        line: int,
        cells: list[str],
        channels: Channels,
        bands: list[int],
        angle: int | None,
    ) -> Reading | None:
        names = self._fields.names
        numbers = self._numbers
        lab = xyz = reflectance = None
        if channels.lab is not None:
            lab = numbers.lab(*self._of(channels.lab, cells, line))
        elif channels.polar is not None:
            lab = numbers.polar(*self._of(channels.polar, cells, line))
        if channels.xyz is not None:
            xyz = numbers.xyz(*self._of(channels.xyz, cells, line))
        if bands:
            first, last = bands[0], bands[-1]
            if last - first == len(bands) - 1:
                values = numbers.read(cells[first : last + 1], line, names[first : last + 1])
            else:
                values = numbers.read(*self._of(bands, cells, line))
            reflectance = None if values is None else tuple(values)
        if lab is None and xyz is None and reflectance is None:
            return None
        return Reading(line=line, angle=angle, lab=lab, xyz=xyz, reflectance=reflectance)

    def _of(
        self, places: list[int], cells: list[str], line: int
    ) -> tuple[list[str], int, list[str]]:
        names = self._names_of.get(id(places))
        if names is None:
            all_names = self._fields.names
            names = self._names_of[id(places)] = [all_names[place] for place in places]
        return [cells[place] for place in places], line, names

    def _paired(
        self, line: int, cells: list[str]
    ) -> tuple[tuple[float, ...], tuple[float, ...]] | None:
        pairs = self._fields.pairs
        bands = self._numbers.read(*self._of([nm for nm, _ in pairs], cells, line))
        values = self._numbers.read(*self._of([value for _, value in pairs], cells, line))
        if bands is None or values is None or len(set(bands)) != len(bands):
            return None
        rising = sorted(zip(bands, values, strict=True))
        return tuple(nm for nm, _ in rising), tuple(value for _, value in rising)


def _about_of(about: About, channels: Channels) -> About:
    """What the header says, and what the field names say more exactly."""
    conditions = about.conditions
    if channels.illuminant is not None or channels.observer is not None:
        conditions = replace(
            conditions,
            illuminant=channels.illuminant or conditions.illuminant,
            observer=channels.observer or conditions.observer,
        )
    angle = about.angle if channels.angle is None else channels.angle
    return replace(about, conditions=conditions, angle=angle)
