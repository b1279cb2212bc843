"""Names of the demo turned into what the record wants: fixed ids, card codes, times."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, time, timedelta
from uuid import UUID, uuid5

from service.domain.card_code import new_card_code

SPACE = UUID("6b0d2a3e-5a41-4a0e-9d0f-7c5f0a1d2e22")
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def id_of(*name: str | int) -> str:
    """The same UUID for the same name, on every machine."""
    return str(uuid5(SPACE, " ".join(map(str, name))))


def code_of(card: str) -> str:
    """The code on a card's label, the same for the same card."""
    return new_card_code(random.Random(f"keepcard demo card {card}").choice)


def moment(monday: date, said: str) -> datetime:
    """A time of the week as the diary says it: Tue 07:15 is 07:15 UTC that Tuesday."""
    day, clock = said.split()
    at = datetime.combine(monday, time.fromisoformat(clock), UTC)
    return at + timedelta(days=DAYS.index(day))
