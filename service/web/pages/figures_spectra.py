"""The spectra behind readings: one beside another where both were given, else one alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from service.domain.records.measuring import Reading
from service.web.charts_lines import Line, LineChart, line_chart

MOST_DRAWN = 400
"""Wavelengths drawn and listed; of a finer spectrum every second, third ... value."""
SEEN_NM = (400, 700)
"""Where the eye sees enough for a difference to matter; outside, V(λ) is below 0.5 % (CIE 018)."""
WIDE = 470.0
"""Right edge of a drawing whose line needs no name at its end, in view box units."""
NOISE_PERCENT = 1.0
"""The least span of the axis of differences, so that a spectrum's noise does not fill it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SpectrumRow:
    """One wavelength, in per cent; None where a side has no value there."""

    wavelength_nm: float
    first: float | None
    second: float | None
    difference: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SpectraShown:
    """Reflectance over wavelength, and what it says in a sentence.

    ``widest`` is the wavelength of the largest difference that can be seen, with its size in
    percentage points.
    ``left_out`` says that only every so-manieth value is drawn and listed; ``lacking`` names the
    side that has no spectrum here.
    """

    angle: int | None
    names: tuple[str, ...]
    repeats: tuple[int, ...]
    reflectance: LineChart
    difference: LineChart | None
    rows: tuple[SpectrumRow, ...]
    widest: tuple[float, float] | None
    every: int
    given: int
    lacking: str


@dataclass(frozen=True, slots=True)
class Mean:
    """The mean spectrum of one side at an angle, in per cent, over how many repeats."""

    values: dict[float, float]
    repeats: int


@dataclass(frozen=True, slots=True)
class Side:
    """One of two that are compared: its name at a line's end and in a sentence; its readings."""

    short: str
    said: str
    readings: Sequence[Reading]


def spectra_shown(first: Side, second: Side, angle: int | None) -> SpectraShown | None:
    """The spectra of both sides at an angle; None where neither has one."""
    sides = [(side, mean_spectrum(side.readings, angle)) for side in (first, second)]
    found = [(side, mean) for side, mean in sides if mean is not None]
    if not found:
        return None
    lacking = next((side.said for side, mean in sides if mean is None), "")
    return shown(found, angle, lacking)


def shown(found: Sequence[tuple[Side, Mean]], angle: int | None, lacking: str = "") -> SpectraShown:
    """Lay out one or two spectra, the one compared with first."""
    whole = sorted({nm for _, mean in found for nm in mean.values})
    every = math.ceil(len(whole) / MOST_DRAWN)
    drawn = whole[::every]
    strokes = ("solid", "dashed") if len(found) > 1 else ("solid",)
    lines = [
        Line(
            name=side.short if len(found) > 1 else "",
            stroke=stroke,
            xs=[nm for nm in drawn if nm in mean.values],
            ys=[mean.values[nm] for nm in drawn if nm in mean.values],
        )
        for (side, mean), stroke in zip(found, strokes, strict=True)
    ]
    both = [nm for nm in drawn if all(nm in mean.values for _, mean in found)]
    apart = (
        {nm: found[1][1].values[nm] - found[0][1].values[nm] for nm in both}
        if len(found) > 1 and len(both) > 1
        else {}
    )
    seen = [nm for nm in apart if SEEN_NM[0] <= nm <= SEEN_NM[1]] or list(apart)
    widest = max(seen, key=lambda nm: abs(apart[nm]), default=None)
    return SpectraShown(
        angle=angle,
        names=tuple(side.said for side, _ in found),
        repeats=tuple(mean.repeats for _, mean in found),
        reflectance=line_chart(lines) if len(found) > 1 else line_chart(lines, right=WIDE),
        difference=line_chart(
            [Line(name="", stroke="solid", xs=list(apart), ys=list(apart.values()))],
            difference=True,
            least=NOISE_PERCENT,
            right=WIDE,
        )
        if apart
        else None,
        rows=tuple(
            SpectrumRow(
                wavelength_nm=nm,
                first=found[0][1].values.get(nm),
                second=found[1][1].values.get(nm) if len(found) > 1 else None,
                difference=apart.get(nm),
            )
            for nm in drawn
        ),
        widest=(widest, apart[widest]) if widest is not None else None,
        every=every,
        given=len(whole),
        lacking=lacking,
    )


def mean_spectrum(readings: Sequence[Reading], angle: int | None) -> Mean | None:
    """The mean over every repeat at an angle, of the readings sampled as the newest one is."""
    spectra = [s for reading in readings for s in reading.spectra if s.angle == angle]
    if not spectra:
        return None
    wavelengths = spectra[-1].wavelengths_nm
    rows = [row for s in spectra if s.wavelengths_nm == wavelengths for row in s.reflectance]
    return Mean(
        values={
            nm: 100 * math.fsum(row[place] for row in rows) / len(rows)
            for place, nm in enumerate(wavelengths)
        },
        repeats=len(rows),
    )


def angles_with_spectra(reading: Reading) -> list[int | None]:
    """The angles a reading has spectra of, in order."""
    return sorted((s.angle for s in reading.spectra), key=lambda a: -999 if a is None else a)
