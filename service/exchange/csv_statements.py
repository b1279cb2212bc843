"""What a file states about its readings: above the header, in a heading, or in the row itself."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TypeVar

from service.domain.terms import Stage
from service.exchange import condition_words
from service.exchange.csv_headings import field_of
from service.exchange.csv_values import Numbers, read_text, translated
from service.exchange.readings import Conditions, ReadingsRefused

T = TypeVar("T")

_SCALES = {
    **dict.fromkeys(("percent", "%", "0..100", "0-100", "0to100", "100"), 100),
    **dict.fromkeys(("fraction", "0..1", "0-1", "0to1", "1"), 1),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What is known of a row beside its colours."""

    conditions: Conditions = Conditions()
    stage: Stage | None = None
    instrument: str | None = None
    angle: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Statements:
    """What the lines above the header say about every row."""

    about: About = About()
    temperature_unit: str | None = None
    temperature_c: float | None = None
    reflectance_divisor: int | None = None  # 1 for shares, 100 for percent
    white_y: int | None = None  # 1 or 100


def read_about(cells: Mapping[str, str], line: int, stated: Statements, numbers: Numbers) -> About:
    """From the cells of a row by field; where one is empty, what stands above the header holds."""
    return merged(stated.about, _about(cells, line, numbers), line)


def merged(one: About, other: About, line: int) -> About:
    """What either says; refuses what they say differently."""
    first, second = one.conditions, other.conditions
    return About(
        conditions=Conditions(
            illuminant=_agreed(first.illuminant, second.illuminant, line, "illuminant"),
            observer=_agreed(first.observer, second.observer, line, "observer"),
            geometry=_agreed(first.geometry, second.geometry, line, "geometry"),
            specular=_agreed(first.specular, second.specular, line, "specular"),
        ),
        stage=_agreed(one.stage, other.stage, line, "stage"),
        instrument=_agreed(one.instrument, other.instrument, line, "instrument"),
        angle=_agreed(one.angle, other.angle, line, "angle"),
    )


def _about(cells: Mapping[str, str], line: int, numbers: Numbers) -> About:
    light, observer, specular = None, None, None
    geometry, stage, instrument, angle = None, None, None, None
    if cells.get("illuminant"):
        light, observer = translated(
            condition_words.illuminant_and_observer, cells["illuminant"], line, "illuminant"
        )
    if cells.get("observer"):
        seen = translated(condition_words.observer, cells["observer"], line, "observer")
        observer = _agreed(observer, seen, line, "observer")
    if cells.get("geometry"):
        geometry, specular = translated(
            condition_words.geometry, cells["geometry"], line, "geometry"
        )
        geometry = read_text(geometry, line, "geometry")
    if cells.get("specular"):
        mode = translated(condition_words.specular, cells["specular"], line, "specular")
        specular = _agreed(specular, mode, line, "specular")
    if cells.get("stage"):
        stage = translated(condition_words.stage, cells["stage"], line, "stage")
    if cells.get("instrument"):
        instrument = read_text(cells["instrument"], line, "instrument")
    if cells.get("angle"):
        angle = read_angle(cells["angle"], line, numbers)
    return About(
        conditions=Conditions(
            illuminant=light, observer=observer, geometry=geometry, specular=specular
        ),
        stage=stage,
        instrument=instrument,
        angle=angle,
    )


def read_angle(cell: str, line: int, numbers: Numbers) -> int:
    """An aspecular angle in whole degrees: 45, 45°, as45."""
    bare = re.sub(r"(?i)^as|\s|°|deg(ree)?s?$", "", cell)
    value = numbers.read(bare, line, "angle")
    if value != int(value) or not -90 <= value <= 175:
        raise ReadingsRefused(
            f"'{cell}' is not an angle. Write whole degrees from the specular, as 45.",
            line=line,
            column="angle",
            value=cell,
        )
    return int(value)


def _agreed(one: T | None, other: T | None, line: int, column: str) -> T | None:
    if one is not None and other is not None and one != other:
        raise ReadingsRefused(
            f"{one} and {other} are both stated. Keep the one that holds.",
            line=line,
            column=column,
            value=str(other),
        )
    return one if other is None else other


def read_statements(found: list[tuple[int, str, str]]) -> Statements:
    """Sort the ``# key: value`` lines; keys that mean nothing here are plain remarks."""
    fields: dict[str, tuple[str, int]] = {}
    for line, key, value in found:
        name = statement_field(key)
        if name is None or not value:
            continue
        if name in fields and fields[name][0] != value:
            raise ReadingsRefused(
                f"'{value}' contradicts '{fields[name][0]}' on line {fields[name][1]}. Keep one.",
                line=line,
                column=name,
                value=value,
            )
        fields[name] = value, line

    def read(name: str, do: Callable[[str], T]) -> T | None:
        return translated(do, *fields[name], name) if name in fields else None

    whole = About()
    numbers = Numbers()  # the decimal mark of a remark binds no reading
    for name, (value, line) in fields.items():
        one = _about({name: value}, line, numbers)
        whole = merged(whole, one, line)
    unit = read("temperature_unit", condition_words.temperature_unit)
    temperature = read("temperature_c", lambda text: condition_words.temperature_c(text, "C"))
    if temperature is None:
        temperature = read("temperature_f", lambda text: condition_words.temperature_c(text, "F"))
    if temperature is None:
        temperature = read("temperature", lambda text: condition_words.temperature_c(text, unit))
    return Statements(
        about=whole,
        temperature_unit=unit,
        temperature_c=temperature,
        reflectance_divisor=read("reflectance", _scale),
        white_y=read("xyz", _scale),
    )


def statement_field(key: str) -> str | None:
    """The condition a statement is about, or None."""
    squeezed = re.sub(r"[\s_()/-]", "", key).lower()
    if squeezed in ("reflectance", "reflectancescale", "reflectanceunit"):
        return "reflectance"
    if squeezed in ("xyz", "xyzscale"):
        return "xyz"
    if squeezed == "temperatureunit":
        return "temperature_unit"
    name = field_of(squeezed)
    return None if name in ("name", "repeat") else name


def _scale(text: str) -> int:
    squeezed = re.sub(r"\s", "", text.lower())
    if squeezed not in _SCALES:
        raise ValueError(f"'{text}' is not a scale. Write percent or fraction.")
    return _SCALES[squeezed]
