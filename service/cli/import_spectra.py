"""What an import makes of spectra: L*, a*, b* where the file has none, and a word to the rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from service.cli.frame import Refusal

if TYPE_CHECKING:
    from service.cli.ports import FileRead, Lab, SampleRead


def labs_of(
    sample: SampleRead, illuminant: str | None, observer: int | None
) -> Mapping[int | None, Sequence[Lab]]:
    """The repeats of each angle; from the spectra where no L*, a*, b* stands beside them.

    Raises
    ------
    Refusal
        Where the sample holds neither, or its spectra cannot be taken under that light.
    """
    labs = sample.labs_by_angle()
    if labs:
        return labs
    spectra = [
        (reading.angle, reading.reflectance)
        for reading in sample.readings
        if reading.reflectance is not None
    ]
    if not spectra or sample.wavelengths_nm is None:
        raise Refusal("it holds no L*, a*, b*. Export Lab from the instrument.")
    from colour.spectra import lab_from_reflectance

    try:
        worked_out = lab_from_reflectance(
            [reflectance for _, reflectance in spectra],
            sample.wavelengths_nm,
            illuminant=str(illuminant),
            observer=observer,
        )
    except ValueError as error:
        raise Refusal(f"its spectrum gives no L*, a*, b*: {error}.") from None
    found: dict[int | None, list[Lab]] = {}
    for (angle, _), (lightness, a, b) in zip(spectra, worked_out.tolist(), strict=True):
        found.setdefault(angle, []).append((lightness, a, b))
    return found


def about_spectra(read: FileRead) -> list[dict[str, str]]:
    """What is said beside the import: which colours were worked out, and that spectra stay out."""
    said = []
    with_spectra = [s for s in read.samples if any(r.reflectance is not None for r in s.readings)]
    worked_out = [sample.name or "(no name)" for sample in with_spectra if _needs_working(sample)]
    if worked_out:
        listed = ", ".join(worked_out[:10]) + (" and more" if len(worked_out) > 10 else "")
        said.append(
            {
                "code": "lab_from_spectrum",
                "message": "L*, a*, b* were worked out from the spectra (ASTM E308 weights) under "
                f"the stated illuminant and observer: {listed}.",
            }
        )
    if with_spectra:
        said.append(
            {
                "code": "spectrum_not_stored",
                "message": "The record keeps L*, a*, b* alone; the spectra of the file are not "
                "stored. Keep the file.",
            }
        )
    return said


def _needs_working(sample: SampleRead) -> bool:
    return not sample.labs_by_angle()
