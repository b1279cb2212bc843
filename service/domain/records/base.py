"""What every record carries, and the checks its fields share."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import ClassVar

from service.domain.refused import Invalid

_UUID = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One row of the record: written once, corrected only by a later row that names it.

    The first row of a thing has revision 1 and gives the thing its id. A correction has an id
    of its own, names the first row in ``corrects``, and counts revisions on; a reason is then
    required. ``withdrawn`` marks the thing as entered in error. Other records always refer to
    the first row's id.
    """

    table: ClassVar[str]

    id: str
    shop_id: str
    author_id: str
    observed_at: datetime
    received_at: datetime
    corrects: str | None = None
    revision: int = 1
    reason: str | None = None
    withdrawn: bool = False

    def __post_init__(self) -> None:
        check_uuid("id", self.id)
        check_utc("observed_at", self.observed_at)
        check_utc("received_at", self.received_at)
        if (self.corrects is None) != (self.revision == 1):
            raise ValueError(
                f"revision 1 corrects nothing and later ones must, got revision {self.revision} "
                f"correcting {self.corrects}"
            )
        if self.corrects is not None and not (self.reason or "").strip():
            raise Invalid("reason", "A correction needs a reason. Say why the entry changes.")
        self.check()

    def check(self) -> None:
        """Raise Invalid when a field holds what it must not."""

    @property
    def root(self) -> str:
        """Id of the thing this row is about: of its first row."""
        return self.corrects or self.id


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRecord(Record):
    """A record that belongs to one job and stands in that job's chain."""

    job_id: str


def check_uuid(field: str, value: str) -> None:
    """Refuse what is not a UUID in its lower-case text form."""
    if not isinstance(value, str) or not _UUID.fullmatch(value):
        raise Invalid(
            field, f"{field} must be a UUID in lower case, got {value!r}. Make a new one."
        )


def check_utc(field: str, value: datetime) -> None:
    """Refuse a time without a zone, or in a zone other than UTC."""
    if value.tzinfo is not UTC:
        raise ValueError(f"{field} must be an aware time in UTC, got {value!r}")


def check_text(field: str, value: str, what: str, longest: int = 200) -> None:
    """Refuse an empty or overlong text."""
    if not value.strip():
        raise Invalid(field, f"{what} is missing. Fill it in.")
    if len(value) > longest:
        raise Invalid(field, f"{what} has {len(value)} characters. Keep it to {longest}.")


def check_range(
    field: str, value: float | None, lowest: float, highest: float, what: str, unit: str = ""
) -> None:
    """Refuse a number that is not finite or lies outside the range; None passes."""
    if value is None:
        return
    if not math.isfinite(value) or not lowest <= value <= highest:
        suffix = f" {unit}" if unit else ""
        raise Invalid(
            field,
            f"{what} cannot be {value:g}{suffix}. "
            f"Enter a value from {lowest:g} to {highest:g}{suffix}.",
        )
