"""Labels: what stands on them, and what scanning their code opens."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from service.domain.card_code import new_card_code, read_card_code
from service.domain.lines import CardLine
from service.domain.moment import from_text
from service.domain.refused import Invalid
from service.use_cases.label_stock import MOST_LABELS
from service.use_cases.queries import CardSearch, Queries


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


def label_of(line: CardLine, *, public_address: str, zone: str, is_demo: bool) -> LabelPaper:
    """The label of a card, off its line in the list of cards."""
    return LabelPaper(
        code=line.code,
        opens=what_scanning_opens(line.code, public_address),
        slot=line.slot,
        finish=line.finish_name,
        colour=" ".join(part for part in (line.colour_code, line.colour_name) if part),
        of=f"Batch {line.batch_number}, {line.work_order}",
        sprayed_at=from_text(line.sprayed_at),
        zone=zone,
        is_demo=is_demo,
    )


def job_of_order(queries: Queries, work_order: str) -> str:
    """Id of the job under a work order; refuses one that no job has."""
    after = None
    while True:
        page = queries.jobs(text=work_order, after=after, limit=200)
        for summary in page.lines:
            if summary.line.work_order == work_order:
                return summary.line.id
        after = page.after
        if after is None:
            raise Invalid(
                "order",
                f"No job has the work order {work_order[:60]}. Check it on the bench page.",
            )


def cards_to_label(
    queries: Queries, search: CardSearch, field: str, of: str
) -> tuple[CardLine, ...]:
    """The cards that fit, in the order they were sprayed; refuses none, and too many at once.

    ``field`` is where that was asked, ``of`` finishes "no card ...".
    """
    found: list[CardLine] = []
    after = None
    while len(found) <= MOST_LABELS:
        page = queries.cards(search, after=after, limit=200)
        found += page.lines
        after = page.after
        if after is None:
            break
    check_count(len(found), field, of)
    return tuple(sorted(found, key=lambda line: (line.sprayed_at, line.code)))


def cards_of_codes(queries: Queries, typed: str) -> tuple[CardLine, ...]:
    """The cards under codes parted by blanks, commas or lines; refuses a code of no card."""
    found = []
    for part in typed.replace(",", " ").replace(";", " ").split():
        try:
            line = queries.card_by_code(read_card_code(part))
        except Invalid as invalid:
            raise Invalid("codes", str(invalid)) from invalid
        if line is None:
            raise Invalid("codes", f"No card has the code {part[:40]}. Compare it with its label.")
        found.append(line)
    check_count(len(found), "codes", "among the codes")
    return tuple(found)


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


def check_count(count: int, field: str, of: str) -> None:
    """Refuse to print no labels, or more than a printer should be sent at once."""
    if not count:
        raise Invalid(field, f"There is no card {of}, so there is no label to print.")
    if count > MOST_LABELS:
        raise Invalid(
            field,
            f"These are more than {MOST_LABELS} labels. Print at most {MOST_LABELS} at once: "
            "narrow it down.",
        )
