"""The colours of a reading that came as spectra alone."""

from __future__ import annotations

from collections.abc import Sequence

from service.domain.records.measuring import AngleReading, AngleSpectrum
from service.domain.refused import Invalid

FROM_SPECTRA = "L*, a*, b* worked out from the spectra by weights of ASTM E308."
"""What the source of such a reading ends with."""


def angles_of_spectra(
    spectra: Sequence[AngleSpectrum], illuminant: str, observer: int
) -> tuple[AngleReading, ...]:
    """The L*, a*, b* of every repeat, angle by angle, under a light and for an observer."""
    from colour.lights import illuminant_name, observer_degrees
    from colour.spectra import lab_from_reflectance

    try:
        illuminant_name(illuminant)
    except ValueError as error:
        raise Invalid("illuminant", _sentence(error)) from None
    try:
        observer_degrees(observer)
    except ValueError as error:
        raise Invalid("observer", _sentence(error)) from None
    found = []
    for one in spectra:
        try:
            labs = lab_from_reflectance(
                one.reflectance, one.wavelengths_nm, illuminant=illuminant, observer=observer
            )
        except ValueError as error:
            where = "" if one.angle is None else f"At {one.angle}°: "
            raise Invalid("spectra", f"{where}{_sentence(error)}") from None
        # No instrument resolves more, and it keeps the record short.
        repeats = tuple((float(x), float(y), float(z)) for x, y, z in labs.round(4))
        found.append(AngleReading(angle=one.angle, repeats=repeats))
    return tuple(found)


def _sentence(error: ValueError) -> str:
    text = str(error).rstrip(".")
    return f"{text[:1].upper()}{text[1:]}."
