"""Times as the record keeps them: UTC, to the microsecond, as text that sorts."""

from __future__ import annotations

from datetime import UTC, datetime

from service.domain.refused import Invalid


def as_text(moment: datetime) -> str:
    """ISO 8601 in UTC to the microsecond, always of one length: 2026-11-25T09:23:04.000000Z."""
    return moment.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def from_text(text: str) -> datetime:
    """Read what ``as_text`` wrote, or any ISO 8601 time with a zone.

    Raises
    ------
    Invalid
        When it is no time, or has no zone.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise Invalid(
            "observed_at", f"{text!r} is not a time. Write it like 2026-11-25T09:23:04Z."
        ) from None
    if moment.tzinfo is None:
        raise Invalid("observed_at", f"The time {text!r} has no zone. Add Z for UTC, or +01:00.")
    return moment.astimezone(UTC)
