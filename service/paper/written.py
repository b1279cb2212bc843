"""Numbers, times and the trade's words as papers write them: ISO dates, true minus signs.

Units follow a narrow no-break space. What is None is "not recorded".
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from functools import lru_cache
from zoneinfo import ZoneInfo

from service.domain.card_code import grouped
from service.domain.terms import FinishKind, JointKind, Stage, Word
from service.use_cases.papers import Said

NARROW = "\u202f"
MINUS = "\u2212"
NOT_RECORDED = "not recorded"
DIFFERENT_COLOUR = 5.0

WORDS: Mapping[Word, str] = {
    Word.BLENDS: "Blends",
    Word.SHOWS: "Shows",
    Word.CANNOT_TELL: "Cannot tell",
    Word.NOT_COMPARABLE: "Not comparable",
}
STAGES: Mapping[Stage, str] = {
    Stage.WET: "Wet",
    Stage.BASE_DRY: "Base, dry",
    Stage.CLEARED: "Cleared",
    Stage.BAKED: "Baked",
    Stage.POLISHED: "Polished",
}
JOINTS: Mapping[JointKind, str] = {
    JointKind.BUTT: "butt joint",
    JointKind.GAP: "panel gap",
    JointKind.FADE: "fade",
    JointKind.WITHIN: "edge within the panel",
}
FINISHES: Mapping[FinishKind, str] = {
    FinishKind.SOLID: "solid",
    FinishKind.METALLIC: "metallic",
    FinishKind.PEARL: "pearl",
    FinishKind.TRI_COAT: "tri-coat",
}
GAPS: Mapping[str, str] = {
    "no_card": "no card was sprayed",
    "no_reading": "its card was not read",
    "no_master": "the finish has no master",
    "no_verdict": "not judged yet",
    "no_side": "no card stands for one side",
    "two_finishes": "two finishes, meant to differ",
    "one_stack": "the same coats on both sides",
}


def number(value: float | None, places: int = 2) -> str:
    """A bare number with fixed decimals: 0.84."""
    if value is None:
        return NOT_RECORDED
    if not math.isfinite(value):
        raise ValueError(f"a number on paper must be finite, got {value!r}")
    text = f"{abs(value):.{places}f}"
    return MINUS + text if value < 0 and float(text) != 0 else text


def signed(value: float | None, places: int = 2) -> str:
    """A number with its sign, except zero: +0.42, −0.42, 0.00."""
    text = number(value, places)
    return text if value is None or text.startswith(MINUS) or float(text) == 0 else f"+{text}"


def short(value: float, places: int = 2) -> str:
    """At most so many decimals, without trailing zeros."""
    text = number(value, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def quantity(value: float | None, unit: str, places: int = 2) -> str:
    """A value with its unit."""
    return NOT_RECORDED if value is None else f"{short(value, places)}{NARROW}{unit}"


def temperature(celsius: float | None) -> str:
    """A temperature in both units: 60 °C (140 °F)."""
    if celsius is None:
        return NOT_RECORDED
    return f"{quantity(celsius, '°C', 1)} ({quantity(celsius * 9 / 5 + 32, '°F', 0)})"


def pressure(bar: float | None) -> str:
    """A pressure in both units; a psi is 6894.757 Pa (a pound-force on a square inch)."""
    if bar is None:
        return "pressure not recorded"
    return f"{quantity(bar, 'bar')} ({quantity(bar / 0.0689475729, 'psi', 0)})"


def minutes(value: float | None) -> str:
    """A length of time: 12 min, 1 h 05 min."""
    if value is None:
        return NOT_RECORDED
    if value < 60:
        return quantity(value, "min", 1)
    return f"{int(value // 60)}{NARROW}h {int(value % 60):02d}{NARROW}min"


def delta_e(value: float | None) -> str:
    """A colour difference; beyond 5 "over 5", for there a figure would mislead."""
    if value is None:
        return NOT_RECORDED
    return "over 5" if value > DIFFERENT_COLOUR else number(value)


def interval(bounds: tuple[float, float]) -> str:
    """A 95 % range with two decimals, rounded outwards."""
    low, high = bounds
    # The slack keeps a stored 0.29999999999999999 from being pushed down to 0.29.
    return (
        f"{number(math.floor(low * 100 + 1e-9) / 100)} to "
        f"{number(math.ceil(high * 100 - 1e-9) / 100)}"
    )


@lru_cache(maxsize=16)
def _zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def day(moment: datetime | None, zone: str) -> str:
    """The day at the shop: 2025-03-04."""
    return NOT_RECORDED if moment is None else f"{moment.astimezone(_zone(zone)):%Y-%m-%d}"


def clock(moment: datetime | None, zone: str) -> str:
    """Day and clock at the shop: 2025-03-04 11:40."""
    return NOT_RECORDED if moment is None else f"{moment.astimezone(_zone(zone)):%Y-%m-%d %H:%M}"


def instant(moment: datetime, zone: str) -> str:
    """Day and clock at the shop with its offset: 2025-03-04 11:40 +01:00."""
    there = moment.astimezone(_zone(zone))
    return f"{there:%Y-%m-%d %H:%M} {there.isoformat()[-6:]}"


def code(text: str) -> str:
    """A card's code in groups the eye can hold: 7K3Q-X9WD-4."""
    return grouped(text)


def angle(degrees: int | None) -> str:
    """An angle of view, where there is more than one geometry."""
    return "One geometry" if degrees is None else f"{degrees}°"


def listed(words: list[str]) -> str:
    """Words joined as in a sentence: a, b and c."""
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def first_capital(text: str) -> str:
    """The text with its first letter large and the rest untouched."""
    return text[:1].upper() + text[1:]


def figure(said: Said) -> str:
    """What stands beside a word: 1.42 (1.20 to 1.71), limit 0.80, bluer and darker."""
    parts = []
    if said.different:
        parts.append("a different colour, over 5")
    elif said.difference is not None:
        reach = f" ({interval(said.bounds)})" if said.bounds is not None else ""
        parts.append(f"{delta_e(said.difference)}{reach}")
    parts.append(f"limit {number(said.limit)}")
    if said.angle is not None:
        parts.append(f"at {said.angle}°")
    if said.directions:
        parts.append(said.directions)
    return ", ".join(parts)


def verdict(said: Said) -> str:
    """Word, number, range, limit and direction in one line."""
    return f"{WORDS[said.word]} {figure(said)}"
