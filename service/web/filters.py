"""Template filters: the one place where numbers, dates, units and code words become text.

Templates receive plain values (floats in the unit a filter names, aware UTC datetimes, enum
members or their strings) and format them here and nowhere else.  ``install`` puts every filter
into a Jinja environment.

A value that is ``None`` is shown as "not recorded"; NaN and infinities are programming mistakes
and raise ``ValueError``, because a page that prints "nan" has already misled somebody.

Signs are true minus signs and units follow a narrow no-break space, so that columns of tabular
figures line up and a number never parts from its unit at the end of a line.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, datetime, timedelta, tzinfo
from enum import Enum
from functools import lru_cache
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

if TYPE_CHECKING:
    from jinja2 import Environment

NARROW_SPACE = "\u202f"
MINUS = "\u2212"
NOT_RECORDED = "not recorded"

# ASTM D2244 recommends these formulas up to 5 units; beyond that a figure would pretend to know.
DIFFERENT_COLOUR = 5.0

VERDICT_WORDS = {
    "blends": "Blends",
    "shows": "Shows",
    "cannot_tell": "Cannot tell",
    "not_comparable": "Not comparable",
}

JOINT_WORDS = {
    "butt": "butt joint",
    "gap": "panel gap",
    "fade": "fade",
    "within": "edge within the panel",
}

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

# (stored unit, shown unit): how many stored units make one shown unit. The international yard
# and pound agreement fixes the inch (25.4 mm) and the avoirdupois pound (453.59237 g); a US
# gallon is 231 cubic inches; a psi is a pound-force per square inch at 9.80665 m/s².
UNIT_FACTORS = {
    ("µm", "mil"): 25.4,
    ("mm", "in"): 25.4,
    ("g", "oz"): 453.59237 / 16,
    ("ml", "fl oz"): 231 * 2.54**3 / 128,
    ("bar", "psi"): 453.59237e-3 * 9.80665 / 0.0254**2 / 1e5,
}


def _decimal(value: float, places: int) -> str:
    """Fixed decimals with a true minus sign, and no sign on what rounds to zero."""
    if not math.isfinite(value):
        raise ValueError(f"a number shown on a page must be finite, got {value!r}")
    text = f"{value:.{places}f}"
    if text.startswith("-"):
        text = text[1:] if float(text) == 0 else MINUS + text[1:]
    return text


def _short(value: float, places: int) -> str:
    """At most ``places`` decimals, without trailing zeros."""
    text = _decimal(value, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def number(value: float | None, places: int = 2) -> str:
    """A bare number with fixed decimals: 0.84."""
    return NOT_RECORDED if value is None else _decimal(value, places)


def delta_e(value: float | None, places: int = 2) -> str:
    """A colour difference: "0.84"; beyond 5 "over 5", for there a figure would mislead."""
    if value is None:
        return NOT_RECORDED
    if value < 0:
        raise ValueError(f"a colour difference cannot be negative, got {value!r}")
    return "over 5" if value > DIFFERENT_COLOUR else _decimal(value, places)


def signed(value: float | None, places: int = 2) -> str:
    """A number that always carries its sign, except zero: +0.42, −0.42, 0.00."""
    if value is None:
        return NOT_RECORDED
    text = _decimal(value, places)
    return text if text.startswith(MINUS) or float(text) == 0 else "+" + text


def interval(bounds: Sequence[float] | None, limit: float | None = None) -> str:
    """The 95 % range "1.2 to 1.7" of a (low, high) pair, always rounded outwards.

    One decimal is enough unless it would blur the answer: a range narrower than 0.2, or an end
    that rounding would carry onto the limit or past it, is given with two.
    """
    if bounds is None:
        return NOT_RECORDED
    low, high = bounds
    if not low <= high:
        raise ValueError(f"a range must run from low to high, got {low!r} to {high!r}")
    places = 1 if high - low >= 0.2 else 2
    if limit is not None and places == 1:
        shown_low, shown_high = _outwards(low, high, 1)
        if shown_low <= limit < low or high < limit <= shown_high:
            places = 2
    shown_low, shown_high = _outwards(low, high, places)
    return f"{_decimal(shown_low, places)} to {_decimal(shown_high, places)}"


def _outwards(low: float, high: float, places: int) -> tuple[float, float]:
    scale = 10**places
    # The small slack keeps 0.3 (stored as 0.29999999999999999) from being pushed down to 0.2.
    return math.floor(low * scale + 1e-9) / scale, math.ceil(high * scale - 1e-9) / scale


def lab(value: float | None, axis: str) -> str:
    """One CIELAB coordinate with its name: "L* 34.21"; ``axis`` is "L", "a" or "b"."""
    if axis not in ("L", "a", "b"):
        raise ValueError(f'axis must be "L", "a" or "b", got {axis!r}')
    return f"{axis}*{NARROW_SPACE}{number(value)}"


def lab_triple(colour: Sequence[float] | None) -> str:
    """A whole CIELAB colour: "L* 34.21, a* −0.42, b* 5.10"."""
    if colour is None:
        return NOT_RECORDED
    return ", ".join(lab(value, axis) for value, axis in zip(colour, "Lab", strict=True))


def percent(share: float | None, places: int = 0) -> str:
    """A share from 0 to 1 as per cent: 0.05 is "5 %"; a tiny one is "under 0.1 %", never 0 %."""
    if share is None:
        return NOT_RECORDED
    if not 0 <= share <= 1:
        raise ValueError(f"a share must lie between 0 and 1, got {share!r}")
    if 0 < share < 0.001:
        return f"under 0.1{NARROW_SPACE}%"
    if 0.999 < share < 1:
        return f"over 99.9{NARROW_SPACE}%"
    # A share near either end would round to a certainty it is not.
    if not places and (0 < share < 0.01 or 0.99 < share < 1):
        places = 1
    return f"{_short(share * 100, places)}{NARROW_SPACE}%"


def temperature(celsius: float | None, shown: str = "C") -> str:
    """A temperature stored in °C, shown in "C" or "F"."""
    if celsius is None:
        return NOT_RECORDED
    value = {"C": celsius, "F": celsius * 9 / 5 + 32}[shown]
    return f"{_short(value, 1)}{NARROW_SPACE}°{shown}"


def temperature_both(celsius: float | None, first: str = "C") -> str:
    """The temperature in both units, the shop's own first: "60 °C (140 °F)"."""
    if celsius is None:
        return NOT_RECORDED
    second = {"C": "F", "F": "C"}[first]
    return f"{temperature(celsius, first)} ({temperature(celsius, second)})"


def temperature_difference(kelvin: float | None, shown: str = "C") -> str:
    """A difference of temperatures, where the 32 of the Fahrenheit scale has no place."""
    if kelvin is None:
        return NOT_RECORDED
    value = {"C": kelvin, "F": kelvin * 9 / 5}[shown]
    return f"{_short(value, 1)}{NARROW_SPACE}°{shown}"


def quantity(value: float | None, unit: str, shown: str | None = None, places: int = 2) -> str:
    """A value with its unit, converted when the shop shows another: µm/mil, g/oz, bar/psi ..."""
    if value is None:
        return NOT_RECORDED
    if shown not in (None, unit):
        try:
            value = value / UNIT_FACTORS[unit, shown]
        except KeyError:
            known = ", ".join(f"{stored} to {other}" for stored, other in UNIT_FACTORS)
            raise ValueError(f"no conversion from {unit} to {shown}; known are {known}") from None
        unit = shown
    return f"{_short(value, places)}{NARROW_SPACE}{unit}"


def duration(length: timedelta | float | None) -> str:
    """A length of time, in minutes or as a timedelta: "12 min", "1 h 05 min", "2 days 3 h"."""
    if length is None:
        return NOT_RECORDED
    seconds = length.total_seconds() if isinstance(length, timedelta) else length * 60
    if not seconds >= 0:
        raise ValueError(f"a duration cannot be negative, got {length!r}")
    if 0 < seconds < 60:
        return f"{math.ceil(seconds)}{NARROW_SPACE}s"
    minutes = round(seconds / 60)
    days, hours = minutes // 1440, minutes % 1440 // 60
    if days:
        text = f"{days}{NARROW_SPACE}{'day' if days == 1 else 'days'}"
        return f"{text} {hours}{NARROW_SPACE}h" if hours else text
    if hours:
        return f"{hours}{NARROW_SPACE}h {minutes % 60:02d}{NARROW_SPACE}min"
    return f"{minutes}{NARROW_SPACE}min"


@lru_cache(maxsize=64)
def _zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def _local(moment: datetime, zone: str | tzinfo) -> datetime:
    if moment.tzinfo is None:
        raise ValueError(f"a moment must carry its time zone, got {moment!r}")
    return moment.astimezone(_zone(zone) if isinstance(zone, str) else zone)


def local_date(moment: datetime | None, zone: str | tzinfo) -> str:
    """The day at the shop, for the screen: "Tue 4 Mar 2025"."""
    if moment is None:
        return NOT_RECORDED
    there = _local(moment, zone)
    return f"{WEEKDAYS[there.weekday()]} {there.day} {MONTHS[there.month - 1]} {there.year}"


def local_time(moment: datetime | None, zone: str | tzinfo) -> str:
    """The clock at the shop: "11:40"."""
    return NOT_RECORDED if moment is None else f"{_local(moment, zone):%H:%M}"


def local_moment(moment: datetime | None, zone: str | tzinfo) -> str:
    """Day and clock at the shop: "Tue 4 Mar 2025, 11:40"."""
    if moment is None:
        return NOT_RECORDED
    return f"{local_date(moment, zone)}, {local_time(moment, zone)}"


def iso_date(moment: datetime | None, zone: str | tzinfo) -> str:
    """The day at the shop, for paper and files: "2025-03-04"."""
    return NOT_RECORDED if moment is None else f"{_local(moment, zone):%Y-%m-%d}"


def iso_local(moment: datetime | None, zone: str | tzinfo) -> str:
    """Day and clock at the shop with its offset, for paper: "2025-03-04 11:40 +01:00"."""
    if moment is None:
        return NOT_RECORDED
    there = _local(moment, zone)
    return f"{there:%Y-%m-%d %H:%M} {there.isoformat()[-6:]}"


def iso(moment: datetime) -> str:
    """The instant itself for ``<time datetime>`` and exports: "2025-03-04T10:40:00Z"."""
    return f"{_local(moment, UTC):%Y-%m-%dT%H:%M:%SZ}"


def card_code(code: str) -> str:
    """A card's code in groups the eye can hold: "7K3Q-X9WD-4"."""
    plain = "".join(code.split()).replace("-", "").upper()
    return "-".join(plain[start : start + 4] for start in range(0, len(plain), 4))


def _plain(word: str | Enum) -> str:
    return str(word.value) if isinstance(word, Enum) else word


def plain_word(word: str | Enum) -> str:
    """The bare string of an enum member, for attributes and comparisons in templates."""
    return _plain(word)


def verdict_word(word: str | Enum) -> str:
    """The word of a verdict as people read it: "cannot_tell" is "Cannot tell"."""
    return VERDICT_WORDS[_plain(word)]


def joint_kind(kind: str | Enum) -> str:
    """The kind of a joint in the trade's words: "gap" is "panel gap"."""
    return JOINT_WORDS[_plain(kind)]


def count_of(total: int, one: str, many: str | None = None) -> str:
    """A number with its noun: "1 joint", "2 joints", "no joints"."""
    if total == 1:
        return f"1 {one}"
    return f"{total if total else 'no'} {many or one + 's'}"


def listed(words: Iterable[str]) -> str:
    """Words joined as in a sentence: "a, b and c"."""
    *first, last = list(words) or [""]
    return f"{', '.join(first)} and {last}" if first else last


def first_capital(text: str) -> str:
    """The text with its first letter large and the rest untouched, as a sentence begins."""
    return text[:1].upper() + text[1:]


def screen_colour(value: str) -> str:
    """A swatch's colour, checked: a malformed fill would be drawn black and taken for paint."""
    if not re.fullmatch(r"#[0-9a-fA-F]{6}", value):
        raise ValueError(f"a screen colour must look like #1a2b3c, got {value!r}")
    return value


FILTERS: dict[str, Callable[..., str]] = {
    "card_code": card_code,
    "count_of": count_of,
    "delta_e": delta_e,
    "duration": duration,
    "first_capital": first_capital,
    "interval": interval,
    "iso": iso,
    "iso_date": iso_date,
    "iso_local": iso_local,
    "joint_kind": joint_kind,
    "lab": lab,
    "lab_triple": lab_triple,
    "listed": listed,
    "local_date": local_date,
    "local_moment": local_moment,
    "local_time": local_time,
    "number": number,
    "percent": percent,
    "plain_word": plain_word,
    "quantity": quantity,
    "screen_colour": screen_colour,
    "signed": signed,
    "temperature": temperature,
    "temperature_both": temperature_both,
    "temperature_difference": temperature_difference,
    "verdict_word": verdict_word,
}


def install(environment: Environment, *, link: Callable[..., str], **more: Any) -> None:
    """Give an environment the filters and the one URL helper every template may call.

    ``link(name, **parts)`` turns the name of a route and its parts into an address; the base
    page asks it for ``bench``, ``rack``, ``audit``, ``person`` and ``static`` (with ``path=``).
    """
    environment.filters.update(FILTERS)
    environment.globals.update(link=link, **more)
