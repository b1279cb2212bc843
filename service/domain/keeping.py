"""Cards that are the last of their kind, and what may become of them."""

from __future__ import annotations

from enum import StrEnum

from service.domain.lookups import master_card_ids, whereabouts
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card


class HeldBack(StrEnum):
    """Why a card leaves the rack only by a manager."""

    MASTER = "master"
    LAST = "last"


def held_back(file: RecordFile, card: Card) -> HeldBack | None:
    """Why a card must not simply be pulled; None when anybody may.

    A master is what a finish is judged against, and the last card of a batch in the rack is the
    only physical truth about it.
    """
    if card.root in master_card_ids(file):
        return HeldBack.MASTER
    return HeldBack.LAST if is_last(file, card) else None


def is_last(file: RecordFile, card: Card) -> bool:
    """Whether no other card of its batch is in the rack."""
    others = [c for c in file.by(Card, "batch_id", card.batch_id) if c.root != card.root]
    return not any(whereabouts(file, other).place == "in" for other in others)
