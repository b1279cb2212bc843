"""The order in which somebody walks past slots."""

from __future__ import annotations

import re


def slot_order(slot: str) -> tuple[object, ...]:
    """Where a slot comes on a walk: numbers by their size, A-2 before A-10; none at the end."""
    parts = re.split(r"(\d+)", slot)
    counted = tuple(
        (int(part), "") if place % 2 else (-1, part.casefold()) for place, part in enumerate(parts)
    )
    return (not slot, *counted)
