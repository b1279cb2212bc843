"""What time it is."""

from __future__ import annotations

from datetime import UTC, datetime


def utc_now() -> datetime:
    """Now, in UTC."""
    return datetime.now(UTC)
