"""The colours and spectra an import makes of a sample's readings.

A repeat's L*, a*, b* are the file's own where it gives them; else they are worked out from that
repeat's spectrum, under the stated illuminant and observer. The spectra of an angle are kept where
each of its repeats has one.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from math import dist
from typing import TYPE_CHECKING

from service.domain.records.measuring import AngleReading, AngleSpectrum, Lab, check_angles
from service.domain.refused import Invalid
from service.use_cases.import_ports import SampleRead

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

MOST_APART = 0.5
"""Beyond this, CIEDE2000, a file's L*, a*, b* and its spectrum are told to disagree. Tables and
band pass make a tenth or two of difference, another illuminant several units (common practice,
no source)."""
FAR_APART = 5.0
"""Beyond this, CIELAB, two readings cannot be repeats of one surface."""
MOST_NAMED = 10
_OFTEN_USED = (("D50", 2), ("D65", 10), ("D65", 2), ("D50", 10), ("A", 10), ("A", 2), ("F11", 10))

Spectrum = tuple[float, ...]


@dataclass(slots=True)
class Colours:
    """The angles of one reading, with what is to be said about them."""

    angles: tuple[AngleReading, ...] = ()
    spectra: tuple[AngleSpectrum, ...] = ()
    worked_out: bool = False
    wholly: bool = False  # every colour of it worked out, from spectra that are kept
    joined: bool = False  # of L*, a*, b* and spectra that stand apart in the file
    apart: float = 0.0  # the largest difference of a Lab from its own spectrum, CIEDE2000
    fits: str = ""  # the other light under which both agree
    left_out: list[str] = field(default_factory=list)  # why spectra are not kept


@dataclass(slots=True)
class _Repeat:
    angle: int | None
    lab: Lab | None
    spectrum: Spectrum | None


def are_two_halves(samples: Sequence[SampleRead]) -> bool:
    """Whether two samples of one surface are its L*, a*, b* and its spectra, in tables apart.

    As many of both at each angle, and neither has any of the other's.
    """
    if len(samples) != 2:
        return False
    labs, spectra = ([*sample.readings] for sample in samples)
    if any(one.lab is None for one in labs):
        labs, spectra = spectra, labs
    return (
        all(one.lab is not None and one.reflectance is None for one in labs)
        and all(one.lab is None and one.reflectance is not None for one in spectra)
        and Counter(one.angle for one in labs) == Counter(one.angle for one in spectra)
    )


def colours_of(
    samples: Sequence[SampleRead], illuminant: str, observer: int, *, halves: bool = False
) -> Colours:
    """The reading that samples of one surface make, their repeats in the order given.

    With ``halves`` the samples are the colours and the spectra of the same readings.

    Raises
    ------
    Invalid
        Where there is no colour at all, or none the record can hold.
    """
    wavelengths = _one_wavelengths(samples)
    by_angle = _repeats(samples, halves)
    found = Colours(joined=halves)
    without_lab = all(one.lab is None for many in by_angle.values() for one in many)
    if wavelengths is not None:
        _by_spectrum(by_angle, wavelengths, illuminant, observer, found)
    found.angles = tuple(
        AngleReading(angle=angle, repeats=tuple(one.lab for one in repeats if one.lab is not None))
        for angle, repeats in by_angle.items()
    )
    if wavelengths is not None:
        found.spectra = tuple(_kept_spectra(by_angle, wavelengths, found))
        found.wholly = without_lab and not found.left_out
    if halves and found.apart > MOST_APART:
        raise Invalid(
            "spectra",
            f"it stands twice, as L*, a*, b* and as spectra, which lie {found.apart:.2f} ΔE00 "
            "apart. Leave one out, or give each reading a name of its own.",
        )
    if len(samples) > 1:
        _check_alike(found.angles)
    check_angles(found.angles, found.spectra)
    return found


def _one_wavelengths(samples: Sequence[SampleRead]) -> tuple[float, ...] | None:
    found = {tuple(s.wavelengths_nm) for s in samples if s.wavelengths_nm is not None}
    if len(found) > 1:
        raise Invalid("spectra", "its repeats have spectra at different wavelengths.")
    return found.pop() if found else None


def _repeats(samples: Sequence[SampleRead], halves: bool) -> dict[int | None, list[_Repeat]]:
    """Every repeat by its angle; of two halves, the first of one goes with the first of the other.

    Raises
    ------
    Invalid
        Where a reading has neither a colour nor a spectrum.
    """
    every = [
        _Repeat(one.angle, one.lab, None if one.reflectance is None else tuple(one.reflectance))
        for sample in samples
        for one in sample.readings
    ]
    held = [one for one in every if one.lab is not None or one.spectrum is not None]
    if not held:
        raise Invalid("angles", "it holds no L*, a*, b*. Export Lab or spectra.")
    if len(held) < len(every):
        raise Invalid(
            "angles",
            f"{len(every) - len(held)} of its {len(every)} readings hold neither L*, a*, b* nor a "
            "spectrum. Export them for every reading.",
        )
    by_angle: dict[int | None, list[_Repeat]] = {}
    for one in held:
        by_angle.setdefault(one.angle, []).append(one)
    if not halves:
        return by_angle
    return {
        angle: [
            _Repeat(angle, lab.lab, other.spectrum)
            for lab, other in zip(
                [one for one in many if one.lab is not None],
                [one for one in many if one.lab is None],
                strict=True,
            )
        ]
        for angle, many in by_angle.items()
    }


def _by_spectrum(
    by_angle: dict[int | None, list[_Repeat]],
    wavelengths: Sequence[float],
    illuminant: str,
    observer: int,
    found: Colours,
) -> None:
    """Fill in the colours that are missing, and hold the others against their spectra."""
    with_spectrum = [one for many in by_angle.values() for one in many if one.spectrum is not None]
    missing = [one for one in with_spectrum if one.lab is None]
    rows = [one.spectrum for one in with_spectrum if one.spectrum is not None]
    if not rows:
        return
    try:
        worked_out = _labs(rows, wavelengths, illuminant, observer)
    except ValueError as error:
        if missing or found.joined:
            raise Invalid("spectra", f"its spectrum gives no L*, a*, b*: {error}.") from None
        return
    both: list[tuple[Lab, Spectrum, Lab]] = []
    # To the digits that such colours are kept to, whoever works them out.
    for one, (lightness, a, b) in zip(with_spectrum, worked_out.round(4).tolist(), strict=True):
        made = (lightness, a, b)
        if one.lab is None:
            one.lab = made
            found.worked_out = True
        elif one.spectrum is not None:
            both.append((one.lab, one.spectrum, made))
    if not both:
        return
    from colour.difference import delta_e_2000

    stated = [lab for lab, _, _ in both]
    found.apart = float(delta_e_2000(stated, [made for _, _, made in both]).max())
    if found.apart > MOST_APART:
        found.fits = _other_light(stated, [row for _, row, _ in both], wavelengths)


def _other_light(
    stated: Sequence[Lab], rows: Sequence[Spectrum], wavelengths: Sequence[float]
) -> str:
    from colour.difference import delta_e_2000

    for illuminant, observer in _OFTEN_USED:
        made = _labs(rows, wavelengths, illuminant, observer)
        if float(delta_e_2000(stated, made).max()) <= MOST_APART:
            return f"{illuminant}/{observer}°"
    return ""


def _labs(
    rows: Sequence[Spectrum], wavelengths: Sequence[float], illuminant: str, observer: int
) -> Floats:
    from colour.spectra import lab_from_reflectance

    return lab_from_reflectance(rows, wavelengths, illuminant=illuminant, observer=observer)


def _kept_spectra(
    by_angle: dict[int | None, list[_Repeat]], wavelengths: tuple[float, ...], found: Colours
) -> Iterator[AngleSpectrum]:
    for angle, repeats in by_angle.items():
        rows = tuple(one.spectrum for one in repeats if one.spectrum is not None)
        if not rows:
            continue
        where = "" if angle is None else f" at {angle}°"
        if len(rows) < len(repeats):
            found.left_out.append(
                f"{len(repeats) - len(rows)} of {len(repeats)} repeats{where} have none."
            )
            continue
        try:
            yield AngleSpectrum(angle=angle, wavelengths_nm=wavelengths, reflectance=rows)
        except Invalid as refused:
            found.left_out.append(f"{refused}" if not where else f"{where.strip()}: {refused}")


def _check_alike(angles: Sequence[AngleReading]) -> None:
    """Samples that their names make repeats must not lie too far apart to be any."""
    for angle in angles:
        furthest = max((dist(x, y) for x, y in combinations(angle.repeats, 2)), default=0.0)
        if furthest > FAR_APART:
            raise Invalid(
                "angles",
                f"its repeats lie up to {furthest:.1f} CIELAB units apart, too far to be of one "
                "surface. Name each by its own card, stage or zone.",
            )


def said_of(colours: Sequence[tuple[str, str, Colours]]) -> Iterator[tuple[str, str]]:
    """Codes and sentences about colours that were worked out, unlike their spectra, or without.

    Each stands with its sample's name and its light, as D65/10°.
    """
    worked_out = [name or "(no name)" for name, _, one in colours if one.worked_out]
    if worked_out:
        yield (
            "lab_from_spectrum",
            (
                "L*, a*, b* were worked out from the spectra (ASTM E308 weights) under the "
                f"stated illuminant and observer: {_listed(worked_out)}."
            ),
        )
    apart = [
        f"{name or '(no name)'} by {one.apart:.2f} under {light}"
        + (f" (they agree under {one.fits})" if one.fits else "")
        for name, light, one in colours
        if one.apart > MOST_APART
    ]
    if apart:
        yield (
            "lab_not_of_spectrum",
            (
                "The file's own L*, a*, b* lie more than 0.5 ΔE00 from what its spectra give: "
                f"{_listed(apart)}. The file's own are kept. Most often they were worked out for "
                "another illuminant or observer than is stated: check the export."
            ),
        )
    joined = [name or "(no name)" for name, _, one in colours if one.joined]
    if joined:
        yield (
            "halves_joined",
            "L*, a*, b* and spectra of one name stand apart in the file and were taken as the same "
            f"readings, because they agree: {_listed(joined)}.",
        )
    left_out = [f"{name or '(no name)'}: {why}" for name, _, one in colours for why in one.left_out]
    if left_out:
        yield (
            "spectrum_left_out",
            (
                "L*, a*, b* are taken without their spectra, which cannot be kept. "
                + _listed(left_out, " ")
            ),
        )


def _listed(items: Sequence[str], between: str = ", ") -> str:
    more = len(items) - MOST_NAMED
    text = between.join(items[:MOST_NAMED])
    return f"{text} and {more} more" if more > 0 else text
