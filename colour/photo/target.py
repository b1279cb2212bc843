"""A target: the sheet or chart that lies in the frame of a photograph, as numbers.

Lengths are millimetres from the target's top left corner, x to the right and y down. Colours are
Lab under the target's own measurement conditions, and so are the colours read with it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Self

Lab = tuple[float, float, float]

# Standard uncertainty of a patch's value, per channel in Lab units, where the target says none.
# Bought charts are said to lie about 1 ΔE00 from their printed values (common practice, no source);
# a shop's own print of nominal values strays further.
UNSTATED_UNCERTAINTY = 1.0
FEWEST_PATCHES = 6


class BadTarget(ValueError):
    """A target that cannot be used; the text says what is wrong and what to do."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A named upright rectangle of the target, in millimetres."""

    name: str
    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float

    @property
    def centre(self) -> tuple[float, float]:
        return self.x_mm + self.width_mm / 2, self.y_mm + self.height_mm / 2

    def holds(self, x_mm: float, y_mm: float, margin_mm: float = 0.0) -> bool:
        """Whether a point lies in it, or so near."""
        return (
            self.x_mm - margin_mm <= x_mm <= self.x_mm + self.width_mm + margin_mm
            and self.y_mm - margin_mm <= y_mm <= self.y_mm + self.height_mm + margin_mm
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch(Place):
    """A place of known colour; ``standard_uncertainty`` of its value, per channel in Lab units."""

    lab: Lab
    standard_uncertainty: float = UNSTATED_UNCERTAINTY


@dataclass(frozen=True, slots=True, kw_only=True)
class Marker(Place):
    """A square code that tells the corner it stands in by its ``text``."""

    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """The conditions its patches' colours are stated under."""

    illuminant: str
    observer: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """A sheet or chart: patches of known colour, windows to be read, markers that find it."""

    name: str
    width_mm: float
    height_mm: float
    measurement: Measurement
    patches: tuple[Patch, ...]
    windows: tuple[Place, ...]
    markers: tuple[Marker, ...] = ()
    labels: tuple[Place, ...] = ()  # where the label of the card in the window of that name lies
    values: str = "nominal"  # or "measured"
    extra: Mapping[str, Any] = field(default_factory=dict)

    @classmethod
    def from_json(cls, data: object) -> Self:
        """A target from the parsed JSON of a target file.

        Raises
        ------
        BadTarget
            Naming the first thing that is missing or wrong.
        """
        whole = _object(data, "The target file")
        width = _number(whole, "width_mm", "the target", above=0)
        height = _number(whole, "height_mm", "the target", above=0)
        conditions = _object(whole.get("measurement"), '"measurement"')
        values = whole.get("values", "nominal")
        if values not in ("nominal", "measured"):
            raise BadTarget(f'"values" is {values!r}. Write "nominal" or "measured".')
        patches = tuple(
            Patch(
                **_place(item, "patch", width, height),
                lab=_lab(item),
                standard_uncertainty=_uncertainty(item),
            )
            for item in _objects(whole, "patches")
        )
        windows = tuple(
            Place(**_place(item, "window", width, height)) for item in _objects(whole, "windows")
        )
        markers = tuple(
            Marker(**_place(item, "marker", width, height), text=_text(item, "text", "a marker"))
            for item in _objects(whole, "markers")
        )
        labels = tuple(
            Place(**_place(item, "label", width, height)) for item in _objects(whole, "labels")
        )
        for kind, places in (("patch", patches), ("window", windows), ("marker", markers)):
            _refuse_twins(kind, places)
        if len(patches) < FEWEST_PATCHES:
            raise BadTarget(
                f"The target has {len(patches)} patches of known colour. "
                f"At least {FEWEST_PATCHES} are needed, neutrals and colours."
            )
        known = {
            "name", "width_mm", "height_mm", "measurement", "patches", "windows", "markers",
            "labels", "values",
        }  # fmt: skip
        return cls(
            name=_text(whole, "name", "the target"),
            width_mm=width,
            height_mm=height,
            measurement=Measurement(
                illuminant=str(_text(conditions, "illuminant", '"measurement"')),
                observer=str(_text(conditions, "observer", '"measurement"')),
            ),
            patches=patches,
            windows=windows,
            markers=markers,
            labels=labels,
            values=values,
            extra={key: value for key, value in whole.items() if key not in known},
        )

    def as_json(self) -> dict[str, Any]:
        """The target in the form of a target file."""
        shape: dict[str, Any] = {
            "name": self.name,
            "width_mm": self.width_mm,
            "height_mm": self.height_mm,
            "measurement": {
                "illuminant": self.measurement.illuminant,
                "observer": self.measurement.observer,
            },
            "values": self.values,
            "patches": [
                {
                    **_place_as_json(patch),
                    "lab": list(patch.lab),
                    "standard_uncertainty": patch.standard_uncertainty,
                }
                for patch in self.patches
            ],
            "windows": [_place_as_json(window) for window in self.windows],
        }
        if self.markers:
            shape["markers"] = [
                {**_place_as_json(marker), "text": marker.text} for marker in self.markers
            ]
        if self.labels:
            shape["labels"] = [_place_as_json(label) for label in self.labels]
        return {**shape, **self.extra}

    def window(self, name: str) -> Place | None:
        return next((window for window in self.windows if window.name == name), None)


def _place_as_json(place: Place) -> dict[str, Any]:
    return {
        "name": place.name,
        "x_mm": place.x_mm,
        "y_mm": place.y_mm,
        "width_mm": place.width_mm,
        "height_mm": place.height_mm,
    }


def _object(value: object, what: str) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise BadTarget(f"{what} is not a JSON object. Start from `keepcard photo-target --json`.")
    return value


def _objects(whole: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    value = whole.get(key, [])
    if not isinstance(value, Sequence) or isinstance(value, str):
        raise BadTarget(f'"{key}" is not a list. Start from `keepcard photo-target --json`.')
    return [_object(item, f'An entry of "{key}"') for item in value]


def _place(
    item: Mapping[str, Any], kind: str, target_width: float, target_height: float
) -> dict[str, Any]:
    name = _text(item, "name", f"a {kind}")
    what = f"the {kind} {name}"
    x, y = _number(item, "x_mm", what), _number(item, "y_mm", what)
    width, height = _number(item, "width_mm", what, above=0), _number(item, "height_mm", what, 0)
    tolerance = 1e-6 * max(target_width, target_height)
    if (
        min(x, y) < -tolerance
        or x + width > target_width + tolerance
        or y + height > target_height + tolerance
    ):
        raise BadTarget(
            f"{what[0].upper()}{what[1:]} reaches outside the target of {target_width:g} by "
            f"{target_height:g} mm. Correct its x_mm, y_mm, width_mm or height_mm."
        )
    return {"name": name, "x_mm": x, "y_mm": y, "width_mm": width, "height_mm": height}


def _number(item: Mapping[str, Any], key: str, what: str, above: float | None = None) -> float:
    value = item.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise BadTarget(f'"{key}" of {what} is {value!r}. Give a number of millimetres.')
    if above is not None and value <= above:
        raise BadTarget(f'"{key}" of {what} is {value:g}. Give a number above {above:g}.')
    return float(value)


def _text(item: Mapping[str, Any], key: str, what: str) -> str:
    value = item.get(key)
    if isinstance(value, int) and not isinstance(value, bool):
        value = str(value)
    if not isinstance(value, str) or not value.strip():
        raise BadTarget(f'"{key}" of {what} is missing. Give it as text.')
    return value


def _lab(item: Mapping[str, Any]) -> Lab:
    value = item.get("lab")
    what = f"the patch {item.get('name')}"
    numbers = (
        isinstance(value, Sequence)
        and not isinstance(value, str)
        and len(value) == 3
        and all(
            isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v)
            for v in value
        )
    )
    if not numbers or value is None:
        raise BadTarget(f'"lab" of {what} is {value!r}. Give its L*, a* and b* as three numbers.')
    lightness, a, b = (float(v) for v in value)
    if not -1 <= lightness <= 105 or max(abs(a), abs(b)) > 200:
        raise BadTarget(f'"lab" of {what} is {value!r}, no colour of a surface. Correct it.')
    return lightness, a, b


def _uncertainty(item: Mapping[str, Any]) -> float:
    value = item.get("standard_uncertainty", UNSTATED_UNCERTAINTY)
    if (
        isinstance(value, bool)
        or not isinstance(value, int | float)
        or not math.isfinite(value)
        or value <= 0
    ):
        raise BadTarget(
            f'"standard_uncertainty" of the patch {item.get("name")} is {value!r}. '
            "Give it in Lab units per channel, above 0, or leave it out."
        )
    return float(value)


def _refuse_twins(kind: str, places: Sequence[Place]) -> None:
    names = [place.name for place in places]
    twins = sorted({name for name in names if names.count(name) > 1})
    if twins:
        raise BadTarget(f"Two {kind} entries are named {twins[0]}. Give each a name of its own.")
