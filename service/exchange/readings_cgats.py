"""Readings from CGATS.17 (ISO 28178) texts and their dialects; all of a file or nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import partial

from service.exchange.cgats_cells import CellReader, drop_empty_fields
from service.exchange.cgats_fields import CgatsFields, Channels, is_format, understand
from service.exchange.cgats_header import (
    CgatsHeader,
    holds_no_readings,
    read_condition,
    read_header,
)
from service.exchange.cgats_lines import CgatsTable, find_tables
from service.exchange.cgats_notes import frame_warnings, gathered, table_warnings, value_warnings
from service.exchange.condition_search import Said
from service.exchange.condition_warnings import missing_conditions
from service.exchange.condition_words import aspecular_angle
from service.exchange.csv_statements import About
from service.exchange.found_readings import Found, divided, joined, samples_of
from service.exchange.kept_text import is_kept_whole, kept_text
from service.exchange.lenient_values import LenientNumbers
from service.exchange.readings import (
    Conditions,
    FileWarning,
    Reading,
    ReadingsFile,
    ReadingsRefused,
)
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
        drop_empty_fields(table)
        fields = understand(table.fields, header.bands_nm)
        if not fields.hold_colour() or holds_no_readings(table):
            without_colour.append(table)
            continue
        read = list(_TableReader(table, fields, header, numbers).read())
        if header.no_reflectance is not None and any(one.wavelengths_nm for one in read):
            found += divided(read, header.norm or 1)
            scale_warnings = [_no_reflectance(header.no_reflectance, table.number)]
        else:
            if header.norm not in (None, 1, 100):
                read = divided(read, header.norm or 1)
                header.divisor = 1
            divisor, scale_warnings = find_divisor(read, fields.divisor or header.divisor)
            found += divided(read, divisor)
        said += [*header.warnings, *table_warnings(table, fields, len(table.rows))]
        said += scale_warnings
    if not found:
        raise _nothing_found(tables, without_colour)
    found, any_joined = joined(found)
    if any_joined:
        said.append(
            FileWarning(
                code="tables_joined",
                message="Tables that hold different things of the same samples were put together.",
            )
        )
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


def _no_reflectance(what: str, table: int) -> FileWarning:
    return FileWarning(
        code="spectrum_no_reflectance",
        message=f"Table {table} states that its spectra are '{what}': they are shown as they "
        "stand and are no reflectance of a surface.",
    )


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
        self._channels = fields.channels or [Channels()]
        self._abouts = [_about_of(header.about, channels) for channels in self._channels]
        self._wavelengths = [
            tuple(channels.spectrum) if channels.spectrum else None for channels in self._channels
        ]
        self._bands = [list(channels.spectrum.values()) for channels in self._channels]
        self._names_of: dict[int, list[str]] = {}
        self._of_rows = bool(fields.about_places) or fields.angle_place is not None
        self._said_by: dict[tuple[str, ...], Callable[[About], About]] = {}

    def read(self) -> Iterator[Found]:
        """Every reading; rows that hold none are left out and remembered."""
        names = self._fields.name_places
        table = self._table.number
        for line, cells in CellReader(self._table, names[0] if names else None).rows():
            name = self._name(line, cells)
            said = self._said(line, cells) if self._of_rows else None
            spectrum = self._paired(line, cells) if self._fields.pairs else None
            located = self._fields.place_of_chart
            apart = None if located is None else cells[located]
            count = 0
            for place, channels in enumerate(self._channels):
                about = self._abouts[place] if said is None else said(self._abouts[place])
                reading = self._reading(line, cells, channels, self._bands[place], about.angle)
                wavelengths = self._wavelengths[place]
                if spectrum is not None and not channels.spectrum:
                    wavelengths, values = spectrum
                    reading = reading or Reading(line=line, angle=about.angle)
                    reading = replace(reading, reflectance=values)
                if reading is not None:
                    count += 1
                    yield Found(name, about, reading, wavelengths, table, apart)
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

    def _said(self, line: int, cells: list[str]) -> Callable[[About], About]:
        """What the row says of its own conditions, as a change of what the header says."""
        places = self._fields.about_places
        angled = self._fields.angle_place
        texts = tuple([cells[at] for at in places.values()])
        key = (*texts, cells[angled] if angled is not None else "")
        if key not in self._said_by:
            said = Said()
            for name, text in zip(places, texts, strict=True):
                read_condition(said, name, text)
            angle = said.angle()
            if angled is not None and cells[angled].strip():
                angle = aspecular_angle(cells[angled])
                if angle is None:
                    raise ReadingsRefused(
                        f"'{cells[angled][:40]}' is not an angle. Write whole degrees from the "
                        "specular, as 45.",
                        line=line,
                        column=self._fields.names[angled],
                    )
            self._said_by[key] = partial(_with, said.conditions(), angle)
        return self._said_by[key]

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


def _with(here: Conditions, angle: int | None, about: About) -> About:
    """What a header says, and what a row says more exactly."""
    known = about.conditions
    conditions = Conditions(
        illuminant=here.illuminant or known.illuminant,
        observer=here.observer or known.observer,
        geometry=here.geometry or known.geometry,
        specular=here.specular or known.specular,
    )
    return replace(about, conditions=conditions, angle=about.angle if angle is None else angle)


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
