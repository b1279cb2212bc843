"""The command that turns reflectance spectra of a file into X, Y, Z and L*, a*, b*."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from service.cli.arguments import NumberType
from service.cli.frame import Refusal, ports, print_json, read_file
from service.cli.layout import table

if TYPE_CHECKING:
    from colour.metamerism import Metamerism
    from service.cli.ports import FileRead

_MOST_NAMES = 5  # listed in a message
# What L*, a*, b* beside the spectra were measured under, and how; no part of the calculation.
_NO_MATTER = tuple(
    f"{what}_not_stated" for what in ("illuminant", "observer", "geometry", "specular")
)


class Spectrum(NamedTuple):
    """One sample's spectrum at one angle, the mean of its repeats."""

    name: str | None
    angle: int | None  # aspecular degrees
    wavelengths: tuple[float, ...]  # nm
    reflectance: tuple[float, ...]  # share of 1

    @property
    def shown(self) -> str:
        """The name as people read it."""
        at = "" if self.angle is None else f" at {self.angle}°"
        return (self.name or "(no name)") + at


@click.command(
    epilog="Example: keepcard spectrum cards.csv --illuminant F11 --observer 10 --json   "
    "Whether cards match under other lights too: keepcard spectrum cards.csv --metamerism MASTER"
)
@click.argument("file", type=click.Path())
@click.option(
    "--illuminant",
    default="D65",
    show_default=True,
    help="A, D50, D65, F2, F11, or a CIE LED such as LED-B3.",
)
@click.option("--observer", default="10", show_default=True, help="2 or 10 degrees.")
@click.option(
    "--metamerism",
    "master",
    metavar="NAME",
    help="Compare every sample with this one under A, F11 and LED-B3 too.",
)
@click.option(
    "--limit",
    type=NumberType(0.01, 50),
    default=0.8,
    show_default=True,
    help="ΔE00 that begins to show: half of the observers in a dental study saw 0.8.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object and nothing else.")
def spectrum(
    file: str, illuminant: str, observer: str, master: str | None, limit: float, as_json: bool
) -> None:
    """Turn the reflectance spectra in FILE into X, Y, Z and L*, a*, b*.

    One sample a row: its name, then reflectance under headings in nm. Repeats are averaged.
    """
    from colour.lights import illuminant_name, observer_degrees

    try:
        light, degrees = illuminant_name(illuminant), observer_degrees(observer)
    except ValueError as error:
        raise _refusal(error) from error
    found = ports().read_readings(read_file(file))
    for told in found.warnings:
        if told.code == "spectrum_no_reflectance":
            raise Refusal(
                f"{file} states that it holds something else than reflectance, and only of "
                f"reflectance can colours be worked out. {told.message}"
            )
    spectra = _spectra_of(file, found)
    colours = _colours(spectra, light, degrees)
    warnings = _warnings(found)
    pairs = [] if master is None else _pairs(found, spectra, master, light, degrees)
    if as_json:
        print_json(
            {
                "illuminant": light,
                "observer": degrees,
                "samples": [
                    {"name": one.name, "lab": lab, "xyz": xyz, "angle": one.angle}
                    for one, (xyz, lab) in zip(spectra, colours, strict=True)
                ],
                "warnings": warnings,
                **({} if master is None else {"metamerism": _as_values(master, pairs, limit)}),
            }
        )
        return
    click.echo(f"{file}: {light}/{degrees}°, Y of the perfect white is 100\n")
    click.echo(_as_table(spectra, colours))
    if master is not None:
        click.echo(_as_text(master, pairs, limit))
    if warnings:
        click.echo("\nTo know about this file:")
        for warning in warnings:
            click.echo(f"- {warning['message']}")


def _spectra_of(file: str, found: FileRead) -> list[Spectrum]:
    """Every spectrum in the order of the file, repeats at one angle averaged."""
    spectra = []
    for sample in found.samples:
        by_angle: dict[int | None, list[Sequence[float]]] = {}
        for reading in sample.readings:
            if reading.reflectance is not None:
                by_angle.setdefault(reading.angle, []).append(reading.reflectance)
        for angle, repeats in by_angle.items():
            mean = tuple(sum(band) / len(repeats) for band in zip(*repeats, strict=True))
            nm = tuple(sample.wavelengths_nm or ())
            spectra.append(Spectrum(sample.name, angle, nm, mean))
    if not spectra:
        raise Refusal(
            f"{file} holds no spectrum. X, Y, Z and L*, a*, b* cannot be turned back into one; "
            "export the readings with reflectance by wavelength, one column a wavelength in nm."
        )
    return spectra


def _colours(
    spectra: Sequence[Spectrum], illuminant: str, observer: int
) -> list[tuple[list[float], list[float]]]:
    """X, Y, Z and L*, a*, b* of each, worked out together where the wavelengths are the same."""
    from colour.spectra import lab_from_xyz, white_point, xyz_from_reflectance

    together: dict[tuple[float, ...], list[int]] = {}
    for place, one in enumerate(spectra):
        together.setdefault(one.wavelengths, []).append(place)
    found: dict[int, tuple[list[float], list[float]]] = {}
    for nm, places in together.items():
        try:
            xyz = xyz_from_reflectance(
                [spectra[place].reflectance for place in places],
                nm,
                illuminant=illuminant,
                observer=observer,
            )
            white = white_point(nm, illuminant=illuminant, observer=observer)
        except ValueError as error:
            raise _refusal(error, _names([spectra[place].shown for place in places])) from error
        lab = lab_from_xyz(xyz, white)
        for place, one, other in zip(places, xyz.tolist(), lab.tolist(), strict=True):
            found[place] = one, other
    return [found[place] for place in range(len(spectra))]


def _pairs(
    found: FileRead, spectra: Sequence[Spectrum], name: str, illuminant: str, observer: int
) -> list[tuple[Spectrum, Metamerism]]:
    """Every other sample against the named one, at each angle that both have."""
    from colour.metamerism import TESTS, metamerism, why_no_spectra

    masters: dict[int | None, Spectrum] = {}
    for one in spectra:
        if one.name == name and masters.setdefault(one.angle, one) is not one:
            raise Refusal(
                f"'{name}' stands in the file under several conditions. Keep one of them, or give "
                "them names of their own."
            )
    if not masters:
        if any(sample.name == name for sample in found.samples):
            raise Refusal(f"'{name}': {why_no_spectra(master=False, sample=True)}.")
        names = list(dict.fromkeys(str(one.name) for one in spectra if one.name is not None))
        there = f"There are {_names(names)}" if names else "Give the samples names"
        raise Refusal(f"No sample is named '{name}'. {there}.")
    others = [one for one in spectra if one.name != name]
    if not others:
        raise Refusal(f"'{name}' is the only spectrum in the file. Add one to compare it with.")
    tests = [test for test in TESTS if test != illuminant]
    pairs = []
    for one in others:
        if one.angle not in masters:
            raise Refusal(
                f"{one.shown} has no counterpart: '{name}' was not read at that angle. Leave it "
                "out, or read both at the same angles."
            )
        try:
            pair = metamerism(
                masters[one.angle].reflectance,
                one.reflectance,
                masters[one.angle].wavelengths,
                observer=observer,
                reference=illuminant,
                tests=tests,
                sample_wavelengths=one.wavelengths,
            )
        except ValueError as error:
            raise _refusal(error, one.shown) from error
        pairs.append((one, pair))
    return pairs


def _as_values(
    master: str, pairs: Sequence[tuple[Spectrum, Metamerism]], limit: float
) -> dict[str, Any]:
    from colour.metamerism import words

    return {
        "master": master,
        "limit": limit,
        "samples": [
            {
                "name": one.name,
                "angle": one.angle,
                "reference": {
                    "illuminant": pair.reference.illuminant,
                    "delta_e_2000": pair.reference.delta_e_2000,
                    "delta_e_ab": pair.reference.delta_e_ab,
                },
                "tests": [
                    {
                        "illuminant": test.illuminant,
                        "index_2000": test.index_2000,
                        "index_ab": test.index_ab,
                        "delta_e_2000": test.delta_e_2000,
                        "delta_e_ab": test.delta_e_ab,
                    }
                    for test in pair.tests
                ],
                "words": words(pair, limit=limit),
            }
            for one, pair in pairs
        ],
    }


def _as_table(
    spectra: Sequence[Spectrum], colours: Sequence[tuple[Sequence[float], Sequence[float]]]
) -> str:
    rows = [
        (one.shown, *(f"{value:.2f}" for value in (*lab, *xyz)))
        for one, (xyz, lab) in zip(spectra, colours, strict=True)
    ]
    return table(("sample", "L*", "a*", "b*", "X", "Y", "Z"), rows)


def _as_text(master: str, pairs: Sequence[tuple[Spectrum, Metamerism]], limit: float) -> str:
    from colour.metamerism import words

    lines = [
        f"\nAgainst {master}, limit {limit:g}; ΔE00 as seen under each light (no verdict: what "
        "measuring leaves uncertain is not weighed):"
    ]
    for one, pair in pairs:
        lines.append(f"- {one.shown} {words(pair, limit=limit)}.")
        indices = ", ".join(f"{test.illuminant} {test.index_2000:.2f}" for test in pair.tests)
        lines.append(
            f"  Metamerism index (ΔE00 from the change of light alone, from "
            f"{pair.reference.illuminant}): {indices}"
        )
    return "\n".join(lines)


def _warnings(found: FileRead) -> list[dict[str, str]]:
    without = [
        sample.name or "(no name)"
        for sample in found.samples
        if all(reading.reflectance is None for reading in sample.readings)
    ]
    warnings = [
        {"code": warning.code, "message": warning.message}
        for warning in found.warnings
        if warning.code not in _NO_MATTER
    ]
    if without:
        warnings.append(
            {
                "code": "sample_without_spectrum",
                "message": f"Left out, having no spectrum in the file: {_names(without)}.",
            }
        )
    return warnings


def _names(names: Sequence[str]) -> str:
    more = f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
    return ", ".join(names[:_MOST_NAMES]) + more


def _refusal(error: ValueError, about: str = "") -> Refusal:
    """The words of ``colour`` as a sentence of their own."""
    text = str(error).rstrip(".") + "."
    return Refusal(f"{about}: {text}" if about else text[0].upper() + text[1:])
