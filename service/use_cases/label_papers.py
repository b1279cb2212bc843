"""Labels: what stands on them, and what scanning their code opens."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from service.domain.card_code import new_card_code
from service.domain.lookups import the_job, whereabouts
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Finish
from service.domain.records.spraying import Batch
from service.domain.refused import Invalid
from service.use_cases.label_stock import MOST_LABELS
from service.use_cases.papers import colour_of


@dataclass(frozen=True, slots=True, kw_only=True)
class LabelPaper:
    """One label; ``opens`` is what its QR code carries. A blank one has a code and no card yet."""

    code: str
    opens: str
    slot: str = ""
    finish: str = ""
    colour: str = ""
    of: str = ""
    sprayed_at: datetime | None = None
    zone: str = "UTC"
    is_demo: bool = False

    @property
    def is_blank(self) -> bool:
        """Whether nothing was sprayed for it yet."""
        return self.sprayed_at is None


def what_scanning_opens(code: str, public_address: str) -> str:
    """The address of the card's page, in capitals; without an address of the shop, the code alone.

    Capitals take a QR code of fewer modules (ISO/IEC 18004, alphanumeric mode); scheme and host
    mean the same in them, and the route of a card has both forms.
    """
    return f"{public_address.rstrip('/').upper()}/C/{code}" if public_address else code


def label_of(
    file: RecordFile, card: Card, *, public_address: str, zone: str, is_demo: bool
) -> LabelPaper:
    """The label of a card."""
    finish = file.get(Finish, card.finish_id)
    batch = file.get(Batch, card.batch_id)
    return LabelPaper(
        code=card.code,
        opens=what_scanning_opens(card.code, public_address),
        slot=whereabouts(file, card).slot,
        finish=finish.name,
        colour=colour_of(finish),
        of=f"Batch {batch.number}, {the_job(file).work_order}",
        sprayed_at=card.observed_at,
        zone=zone,
        is_demo=is_demo,
    )


def labels_of_job(
    file: RecordFile, *, public_address: str, zone: str, is_demo: bool
) -> tuple[LabelPaper, ...]:
    """The labels of a job's cards, in the order they were sprayed."""
    cards = sorted(file.all(Card), key=lambda card: card.observed_at)
    return tuple(
        label_of(file, card, public_address=public_address, zone=zone, is_demo=is_demo)
        for card in cards
    )


def fresh_labels(count: int, *, public_address: str, is_demo: bool) -> tuple[LabelPaper, ...]:
    """Blank labels with codes nobody had before."""
    if not 1 <= count <= MOST_LABELS:
        raise Invalid("count", f"There cannot be {count} labels. Print 1 to {MOST_LABELS} at once.")
    codes = dict.fromkeys(new_card_code() for _ in range(count))
    while len(codes) < count:
        codes[new_card_code()] = None
    return tuple(
        LabelPaper(code=code, opens=what_scanning_opens(code, public_address), is_demo=is_demo)
        for code in codes
    )


def check_labels(labels: Sequence[LabelPaper], of: str) -> None:
    """Refuse to print no labels, or more than a printer should be sent at once."""
    if not labels:
        raise Invalid("what", f"There is no card {of}, so there is no label to print.")
    if len(labels) > MOST_LABELS:
        raise Invalid(
            "what",
            f"These are {len(labels)} labels. Print at most {MOST_LABELS} at once: narrow it down.",
        )
