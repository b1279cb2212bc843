"""What the pages of the office share: their frame, and records as they are named there."""

from __future__ import annotations

from service.domain.card_code import grouped
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.spraying import Batch
from service.domain.terms import Role
from service.web.context import Frame, PageContext


def office_frame(here: PageContext) -> Frame:
    """The frame of a page behind the audit; who may not see that comes to it from a job."""
    return here.frame(entrance_of(here))


def entrance_of(here: PageContext) -> str:
    """The entrance such a page lies behind for the visitor."""
    return "audit" if Role.MANAGER in here.roles else ""


def card_named(file: RecordFile, card: Card) -> str:
    """A card with the batch it stands for: 7K3Q-X9WD-4 of batch 3."""
    batch = file.latest_revision(Batch, card.batch_id)
    return grouped(card.code) + (f" of batch {batch.number}" if batch is not None else "")
