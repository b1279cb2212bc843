"""The wavelengths of a CxF3 spectrum: from itself, from its specification, or the usual ones."""

from __future__ import annotations

from service.exchange.cxf_objects import Value
from service.exchange.cxf_specification import Specification

# Numbers of values that instruments give, with the range they mean (common practice).
_USUAL = {
    16: (400.0, 20.0),
    18: (380.0, 20.0),
    31: (400.0, 10.0),
    36: (380.0, 10.0),
    39: (360.0, 10.0),
    40: (360.0, 10.0),
    43: (360.0, 10.0),
    81: (380.0, 5.0),
    301: (400.0, 1.0),
    401: (380.0, 1.0),
    471: (360.0, 1.0),
}
_SHORTEST, _LONGEST = 300.0, 1100.0


def wavelengths_of(
    value: Value, specification: Specification
) -> tuple[tuple[float, ...] | None, str | None]:
    """In nm, one for each value, and the code of what had to be assumed or could not be known."""
    count = len(value.reflectance or ())
    if value.bands_nm is not None:
        return _checked(value.bands_nm), None
    start = specification.start_nm if value.start_nm is None else value.start_nm
    end = specification.end_nm if value.end_nm is None else value.end_nm
    step = specification.increment_nm if value.increment_nm is None else value.increment_nm
    code = None
    if step is None and start is not None and end is not None and count > 1:
        step = (end - start) / (count - 1)
    if start is None and step is not None and end is not None:
        start = end - step * (count - 1)
    if start is None or step is None:
        code = "wavelengths_assumed"
        usual_start, usual_step = _USUAL.get(count, (None, None))
        if start is None and step in (None, usual_step):
            start = usual_start
        if step is None and start is not None:
            # Ten is the increment of nearly all instruments; fewer values over the same range
            # are at twenty, many at one or five.
            step = usual_step or next(
                (nm for nm in (10.0, 5.0, 1.0) if start + nm * (count - 1) <= 850), None
            )
    if start is None or step is None or step <= 0 or count < 2:
        return None, "wavelengths_not_stated"
    bands = _checked(tuple(start + step * place for place in range(count)))
    return (bands, code) if bands else (None, "wavelengths_not_stated")


def _checked(bands: tuple[float, ...]) -> tuple[float, ...] | None:
    return bands if _SHORTEST <= bands[0] and bands[-1] <= _LONGEST else None
