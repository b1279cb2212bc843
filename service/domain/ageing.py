"""Age as a reason: two things read long apart, and a card that moved since it was first read."""

from __future__ import annotations

import calendar
from datetime import datetime, timedelta

from service.domain.drift import Drift, drifts_between, tells_of
from service.domain.pooling import same_age
from service.domain.refused import Invalid
from service.domain.specimens import Specimen

LONG_APART = timedelta(days=365)
"""A master is read again every year; a suggestion of common practice, no source."""

DUE_MONTHS, MOST_MONTHS = 12, 120
"""After how many months a card in the rack is due to be read again, and the most one may ask."""

Found = tuple[str, str, str]
"""Code, text and remedy of a reason, as comparability has them."""


def reasons_of_age(a: Specimen, b: Specimen) -> list[Found]:
    """What the age of two readings says against comparing them; only ever noted."""
    found: list[Found] = []
    told = {id(one): _told_again(one) for one in (a, b)}
    for one in (a, b):
        moved = [drift for drift in told[id(one)] if drift.moved]
        if moved:
            found.append(_aged(one, max(moved, key=lambda drift: drift.delta_e_2000)))
    earlier, later = sorted((a, b), key=lambda one: one.reading.observed_at)
    apart = later.reading.observed_at - earlier.reading.observed_at
    if apart > LONG_APART:
        found += _long_apart(earlier, later, apart, told[id(earlier)])
    return found


def months_before(moment: datetime, months: int) -> datetime:
    """The same day and hour so many months earlier; the last of the month where it has no such day.

    Raises
    ------
    Invalid
        When the months are fewer than 1 or more than ``MOST_MONTHS``.
    """
    if not 1 <= months <= MOST_MONTHS:
        raise Invalid("months", f"{months} months cannot be asked for. Enter 1 to {MOST_MONTHS}.")
    year, month = divmod(moment.year * 12 + moment.month - 1 - months, 12)
    day = min(moment.day, calendar.monthrange(year, month + 1)[1])
    return moment.replace(year=year, month=month + 1, day=day)


def span(time: timedelta) -> str:
    """A stretch of time in words: 45 days, 14 months, 3 years."""
    days = time.days
    if days < 90:
        return f"{days} day{'' if days == 1 else 's'}"
    if days < 2 * 365 - 15:
        return f"{round(days / 30.44)} months"
    return f"{days / 365.25:.0f} years"


def moved_words(drift: Drift) -> str:
    """How far and which way: 0.62, yellower (ΔL* -0.10, Δa* +0.02, Δb* +0.70)."""
    deltas = ", ".join(
        f"{name} {value:+.2f}"
        for name, value in zip(("ΔL*", "Δa*", "Δb*"), drift.difference, strict=True)
    )
    at = "" if drift.angle is None else f" at {drift.angle}°"
    direction = f", {drift.words}" if drift.words else ""
    return f"{drift.delta_e_2000:.2f}{at}{direction} ({deltas})".replace("-", "−")


def _told_again(one: Specimen) -> list[Drift]:
    """Drift between the reading that stands for a card and one of another age, made alike."""
    reading = one.reading
    alike = sorted(
        (
            other
            for other in one.of_card
            if tells_of(reading, other) and not same_age(other.observed_at, reading.observed_at)
        ),
        key=lambda other: other.observed_at,
    )
    if not alike:
        return []
    if alike[-1].observed_at > reading.observed_at:
        return drifts_between(reading, alike[-1])
    return drifts_between(alike[0], reading)


def _aged(one: Specimen, drift: Drift) -> Found:
    apart = span(drift.newest.observed_at - drift.first.observed_at)
    far = f"{moved_words(drift)} over {apart}"
    if drift.first.root == one.reading.root:
        return (
            "aged_card",
            f"{one.name} in the hand no longer looks as it was first read: {far}, more than the "
            "noise of its readings explains. This answer rests on its first reading, on what was "
            "sprayed.",
            f"Read a check tile to tell whether {one.name} moved or the instrument. If it is the "
            "card, do not match anything to it by eye.",
        )
    return (
        "aged_card",
        f"{one.name} has moved since it was first read: {far}. It is taken as it is now, which "
        "is not as it was sprayed.",
        f"Read a check tile to tell whether {one.name} moved or the instrument.",
    )


def _long_apart(
    earlier: Specimen, later: Specimen, apart: timedelta, told: list[Drift]
) -> list[Found]:
    """Nothing once the earlier one was read again meanwhile and could be told about."""
    again = [
        drift
        for drift in told
        if abs(drift.newest.observed_at - later.reading.observed_at) <= LONG_APART
    ]
    if again and all(drift.moved is not None for drift in again):
        return []
    text = f"{earlier.name} was read {span(apart)} before {later.name}."
    if again:
        text += " It was read again since, but too few times to tell whether it moved."
    if earlier.is_car:
        return [("read_long_apart", text, "Read the car again today.")]
    then = (
        "The car is held against the card as it reads now."
        if later.is_car
        else "The answer goes on resting on its first reading."
    )
    return [
        (
            "read_long_apart",
            text,
            f"Read {earlier.name} again today, three times and with the instrument that read it "
            f"then, to see whether the card or the instrument moved. {then}",
        )
    ]
