"""Whether reflectance is a share of 1 or percent, where colours beside it can tell.

The luminous reflectance Y follows both from L* (or XYZ) and, roughly, from the middle of the
spectrum; the two readings of the scale are a hundredfold apart, so rough is enough.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from service.exchange.found_readings import Found
from service.exchange.readings import FileWarning
from service.exchange.spectrum_scale import Extremes, divisor_of

_MIDDLE_NM = (510.0, 600.0)
_MOST_LOOKED_AT = 500
_SURELY_PERCENT = 10.0
_DARKEST_USABLE_Y = 0.05  # percent; below it the zero of the instrument speaks


def find_divisor(
    found: Sequence[Found], stated: int | None, greatest_share: float | None = None
) -> tuple[int, list[FileWarning]]:
    """What to divide by to get shares of 1, and what was taken for granted.

    ``greatest_share`` is what the format allows, if it says that reflectance is a share of 1.
    """
    seen = Extremes()
    for one in found:
        values = one.reading.reflectance
        if values is not None and one.wavelengths_nm is not None:
            columns = [f"{nm:g} nm" for nm in one.wavelengths_nm]
            seen.see(values, one.reading.line, columns, False)
    if seen.greatest is None:
        return 1, []
    greatest = seen.greatest[0]
    told = _told_by_colours(found)
    if told is not None and told != stated:
        as_what = "percent" if told == 100 else "a share of 1"
        beside = "" if stated is None else ", though the file says otherwise"
        if told == 1 and greatest_share is not None:
            return divisor_of(seen, 1)[0], []
        return divisor_of(seen, told)[0], [
            FileWarning(
                code="reflectance_scale_by_colour",
                message=f"The reflectance was taken as {as_what}{beside}: only so does it agree "
                "with the lightness that stands beside it.",
            )
        ]
    if stated is None and told is None and greatest_share is not None:
        if greatest <= greatest_share:
            return divisor_of(seen, 1)[0], []
        return divisor_of(seen, 100)[0], [
            FileWarning(
                code="reflectance_in_percent",
                message=f"The reflectance reaches {greatest:g} and was taken as percent.",
            )
        ]
    return divisor_of(seen, stated)


def _told_by_colours(found: Sequence[Found]) -> int | None:
    """1 or 100 where lightness and spectrum stand together and agree on one; else None."""
    ratios = []
    for one in found:
        reading, bands = one.reading, one.wavelengths_nm
        if reading.reflectance is None or bands is None or not (reading.lab or reading.xyz):
            continue
        luminous = _luminous(one)
        low, high = _MIDDLE_NM
        middle = [v for nm, v in zip(bands, reading.reflectance, strict=True) if low <= nm <= high]
        if len(middle) >= 2 and luminous > _DARKEST_USABLE_Y and min(middle) > 0:
            ratios.append(sum(middle) / len(middle) / luminous)
        if len(ratios) >= _MOST_LOOKED_AT:
            break
    if not ratios:
        return None
    usual = median(ratios)
    if 0.003 < usual < 0.04:
        return 1
    return 100 if 0.3 < usual < 4 else None


def _luminous(one: Found) -> float:
    """Y in percent, from L* by its definition in CIE 15, else as it stands in the file."""
    lab, xyz = one.reading.lab, one.reading.xyz
    if lab is not None:
        lightness = lab[0]
        if lightness <= 8:
            return lightness / 903.3 * 100
        cube: float = ((lightness + 16) / 116) ** 3
        return cube * 100
    return xyz[1] if xyz is not None else 0.0
