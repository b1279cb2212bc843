"""One row of a readings table to its readings, each value checked where it stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial

from service.exchange import condition_words
from service.exchange.csv_headings import PARTS, ChannelKey, Headings
from service.exchange.csv_samples import RowReading
from service.exchange.csv_statements import About, merged, read_about, read_statements
from service.exchange.csv_table import Table
from service.exchange.csv_values import Numbers, read_text, translated
from service.exchange.readings import Conditions, FileWarning, Reading, ReadingsRefused, Triple
from service.exchange.spectrum_scale import Extremes

# The record's own ranges for a reading; effect paint near the specular angle outshines white.
_DARKEST, _LIGHTEST, _LIGHTEST_AT_AN_ANGLE, _FARTHEST = -1.0, 100.5, 400.0, 200.0
_XYZ_RANGE = (-0.5, 1000.0)
_ABOUT = ("illuminant", "observer", "geometry", "specular", "stage", "instrument", "angle")


@dataclass(slots=True)
class Slot:
    """The columns that make one reading of a row."""

    key: ChannelKey
    lab: list[int] | None = None
    xyz: list[int] | None = None
    spectrum: list[int] | None = None

    def places(self) -> list[int]:
        return [*(self.lab or ()), *(self.xyz or ()), *(self.spectrum or ())]


class RowReader:
    """Turns the cells of a row into readings, and remembers what was lenient about it."""

    def __init__(self, table: Table) -> None:
        self.fields = table.headings.fields
        self.names = table.headings.names
        self.slots, self.wavelengths = _slots(table.headings, table.header_line)
        self._places = [slot.places() for slot in self.slots]
        self.stated = read_statements(table.statements)
        self.divisor = self.stated.reflectance_divisor
        if self.divisor is None and table.headings.percent:
            self.divisor = 100
        self.reflectances = Extremes()
        self.numbers = Numbers()
        self._about_fields = [field for field in _ABOUT if field in self.fields]
        self._about_of: dict[tuple[str, ...], tuple[About, ...]] = {}
        units = {
            "temperature_c": "C",
            "temperature_f": "F",
            "temperature": self.stated.temperature_unit,
        }
        self._temperatures = [(f, unit) for f, unit in units.items() if f in self.fields]
        self._empty_slots: list[int] = []
        self._below_zero: list[int] = []

    def read(self, line: int, cells: list[str]) -> Iterator[RowReading]:
        """Every reading of one row."""
        self._check_width(line, cells)
        name = self._name(line, cells)
        abouts = self._abouts(line, cells)
        repeat = self._repeat(line, cells)
        temperature = self._temperature(line, cells)
        filled = 0
        for slot, places, about in zip(self.slots, self._places, abouts, strict=True):
            if not any(cells[place] for place in places):
                continue
            filled += 1
            angle = about.angle
            reading = Reading(
                line=line,
                angle=angle,
                repeat=repeat,
                lab=self._lab(slot.lab, line, cells, angle) if slot.lab else None,
                xyz=self._xyz(slot.xyz, line, cells) if slot.xyz else None,
                reflectance=self._spectrum(slot.spectrum, line, cells) if slot.spectrum else None,
                surface_temperature_c=temperature,
            )
            yield RowReading(name, about, reading)
        if not filled:
            raise ReadingsRefused("the row holds no reading. Fill it in or remove it.", line=line)
        if filled < len(self.slots):
            self._empty_slots.append(line)

    def warnings(self) -> Iterator[FileWarning]:
        """What had to be taken leniently, once each."""
        if self.numbers.mark == ",":
            yield FileWarning(
                code="decimal_comma", message="The numbers are written with decimal commas."
            )
        if self._empty_slots:
            yield FileWarning(
                code="reading_left_out",
                message=f"{len(self._empty_slots)} rows leave some of their readings empty, the "
                f"first on line {self._empty_slots[0]}; those readings are missing.",
            )
        if self._below_zero:
            yield FileWarning(
                code="lightness_below_zero",
                message=f"L* is below 0, first on line {self._below_zero[0]}: the zero of the "
                "instrument is off by a little. It was kept as it is.",
            )
        if any(slot.xyz for slot in self.slots) and self.stated.white_y is None:
            yield FileWarning(
                code="xyz_scale_not_stated",
                message="X, Y, Z were taken on the scale where Y of the white is 100. If white "
                "is 1, state '# xyz: fraction' above the header.",
            )

    def _check_width(self, line: int, cells: list[str]) -> None:
        width = len(self.names)
        extra = [cell for cell in cells[width:] if cell]
        if extra:
            hint = ""
            if len(cells) == 2 * width:
                hint = " If the commas are decimal marks, separate the values by semicolons."
            raise ReadingsRefused(
                f"the row has {len(cells)} values under {width} headings, the first too many "
                f"being '{extra[0]}'.{hint or ' Check the row.'}",
                line=line,
                value=extra[0],
            )
        cells += [""] * (width - len(cells))

    def _name(self, line: int, cells: list[str]) -> str | None:
        if "name" not in self.fields:
            return None
        heading = self.names[self.fields["name"]]
        name = read_text(cells[self.fields["name"]], line, heading)
        if name is None:
            raise ReadingsRefused(
                "the name is missing. Repeat the name on each row of a sample.",
                line=line,
                column=heading,
            )
        return name

    def _abouts(self, line: int, cells: list[str]) -> tuple[About, ...]:
        """What is known of the row beside its colours, for each slot; few rows differ in it."""
        texts = tuple([cells[self.fields[field]] for field in self._about_fields])
        if texts not in self._about_of:
            here = dict(zip(self._about_fields, texts, strict=True))
            about = read_about(here, line, self.stated, self.numbers)
            self._about_of[texts] = tuple(
                merged(about, _of_heading(slot.key), line) for slot in self.slots
            )
        return self._about_of[texts]

    def _repeat(self, line: int, cells: list[str]) -> int | None:
        if "repeat" not in self.fields:
            return None
        cell = cells[self.fields["repeat"]]
        if not (cell.isascii() and cell.isdigit() and 0 < int(cell[:9]) and len(cell) < 9):
            raise ReadingsRefused(
                f"'{cell}' is not a repeat number. Count the repeats of a sample 1, 2, 3.",
                line=line,
                column=self.names[self.fields["repeat"]],
                value=cell,
            )
        return int(cell)

    def _temperature(self, line: int, cells: list[str]) -> float | None:
        for field, unit in self._temperatures:
            if cell := cells[self.fields[field]]:
                heading = self.names[self.fields[field]]
                return translated(
                    partial(condition_words.temperature_c, unit=unit),
                    cell,
                    line,
                    heading,
                )
        return self.stated.temperature_c

    def _triple(
        self,
        places: list[int],
        line: int,
        cells: list[str],
        ranges: tuple[tuple[float, float], ...],
    ) -> Triple:
        values = []
        for place, (lowest, highest) in zip(places, ranges, strict=True):
            value = self.numbers.read(cells[place], line, self.names[place])
            if not lowest <= value <= highest:
                raise ReadingsRefused(
                    f"the value cannot be {cells[place]}. "
                    f"Enter one from {lowest:g} to {highest:g}.",
                    line=line,
                    column=self.names[place],
                    value=cells[place],
                )
            values.append(value)
        return values[0], values[1], values[2]

    def _lab(self, places: list[int], line: int, cells: list[str], angle: int | None) -> Triple:
        lightest = _LIGHTEST if angle is None else _LIGHTEST_AT_AN_ANGLE
        sideways = (-_FARTHEST, _FARTHEST)
        lab = self._triple(places, line, cells, ((_DARKEST, lightest), sideways, sideways))
        if lab[0] < 0:
            self._below_zero.append(line)
        return lab

    def _xyz(self, places: list[int], line: int, cells: list[str]) -> Triple:
        x, y, z = self._triple(places, line, cells, (_XYZ_RANGE,) * 3)
        return (x * 100, y * 100, z * 100) if self.stated.white_y == 1 else (x, y, z)

    def _spectrum(self, places: list[int], line: int, cells: list[str]) -> tuple[float, ...]:
        texts = [cells[place] for place in places]
        columns = [self.names[place] for place in places]
        signed = [text.endswith("%") for text in texts]
        if any(signed) and not all(signed):
            place = places[signed.index(False)]
            raise ReadingsRefused(
                f"'{cells[place]}' has no % sign, but others in the row have. Mark all or none.",
                line=line,
                column=self.names[place],
                value=cells[place],
            )
        values = tuple(
            self.numbers.read(text.removesuffix("%").rstrip(), line, column)
            for text, column in zip(texts, columns, strict=True)
        )
        self.reflectances.see(values, line, columns, signed[0])
        return values


def _of_heading(key: ChannelKey) -> About:
    light = Conditions(illuminant=key.illuminant, observer=key.observer)
    return About(conditions=light, angle=key.angle)


def _slots(headings: Headings, line: int) -> tuple[list[Slot], tuple[float, ...] | None]:
    """Which columns make one reading together, and the wavelengths in rising order."""
    slots: dict[ChannelKey, Slot] = {}
    spectra: dict[int | None, dict[float, int]] = {}
    for key, places in headings.channels.items():
        if key.kind == "spectrum":
            spectra[key.angle] = dict(sorted(places.items()))
            continue
        slot = slots.setdefault(replace(key, kind="lab"), Slot(key))
        columns = [places[part] for part in range(len(PARTS[key.kind]))]
        if key.kind == "lab":
            slot.lab = columns
        else:
            slot.xyz = columns
    found = list(slots.values())
    if not spectra:
        return found, None
    if list(spectra) == [None] and len({key.angle for key in slots}) > 1:
        raise ReadingsRefused(
            "the headings name several angles, but the wavelengths do not say theirs. Give each "
            "angle a row of its own, with the angle in a column.",
            line=line,
        )
    wavelengths = tuple(next(iter(spectra.values())))
    for angle, spectrum in spectra.items():
        if tuple(spectrum) != wavelengths:
            raise ReadingsRefused(
                f"the wavelengths at {angle}° are not those of the other angles. Give each angle "
                "a row of its own, with the angle in a column, in a file of its own.",
                line=line,
            )
        # Reflectance is the same under each light, so every reading of the row carries it.
        fitting = [slot for slot in found if angle is None or slot.key.angle == angle]
        if not fitting:
            fitting = [Slot(ChannelKey("spectrum", angle))]
            found += fitting
        for slot in fitting:
            slot.spectrum = list(spectrum.values())
    return found, wavelengths
