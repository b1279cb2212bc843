"""Where a card is, how it got there, and what may be done about it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from service.domain.keeping import held_back
from service.domain.lookups import last_movement, whereabouts
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Movement
from service.domain.terms import MovementKind, Role
from service.web.context import PageContext
from service.web.forms import Form
from service.web.pages.bench_forms import Filled, Option
from service.web.pages.bench_views import person_name

WHYS = (
    Option("To hold beside the car", "To hold beside the car"),
    Option("To measure it again", "To measure it again"),
    Option("To show it to somebody", "To show it to somebody"),
    Option("For something else", "For something else"),
)
STATES = (
    Option("As it was", "As it was"),
    Option("Scratched or chipped", "Scratched or chipped"),
    Option("Stained or dirty", "Stained or dirty"),
    Option("Changed in colour", "Changed in colour"),
)

_DID = {
    MovementKind.PULLED: "took it out",
    MovementKind.RETURNED: "brought it back",
    MovementKind.MISSING: "marked it missing",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveShown:
    """One movement; the fields are those the kit's journal takes."""

    at: datetime
    person: str
    sentence: str
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Where:
    """Where a card is; ``held`` says why the visitor must ask a manager to take it out."""

    place: str
    slot: str
    holder: str
    since: datetime | None
    why: str
    held: str
    pull: Filled
    give_back: Filled
    missing: Filled
    whys: tuple[Option, ...]
    states: tuple[Option, ...]
    moves: tuple[MoveShown, ...]


def where(
    here: PageContext, file: RecordFile, card: Card, form: Form | None = None, of: str = ""
) -> Where:
    """Where a card is; ``form`` is the one that came back refused, ``of`` which of them it is."""
    shop = here.store.shop()
    place = whereabouts(file, card)
    last = last_movement(file, card.root)
    held = held_back(file, card) if Role.MANAGER not in here.roles else None
    start = {"return.slot": place.slot}
    return Where(
        place=place.place,
        slot=place.slot,
        holder=person_name(shop, place.holder_id) if place.place == "out" else "",
        since=last.observed_at if last else None,
        why=(last.why or last.state) if last else "",
        held=held.value if held else "",
        pull=_filled(form, of, "pull"),
        give_back=_filled(form, of, "return", start),
        missing=_filled(form, of, "missing"),
        whys=WHYS,
        states=STATES,
        moves=tuple(
            _move(shop, movement)
            for movement in sorted(
                file.by(Movement, "card_id", card.root), key=lambda m: m.observed_at, reverse=True
            )
        ),
    )


def _filled(form: Form | None, of: str, name: str, start: dict[str, str] | None = None) -> Filled:
    return Filled(form=form if form is not None and of == name else Form(), start=start or {})


def _move(shop: RecordFile, movement: Movement) -> MoveShown:
    slot = f", into slot {movement.slot}" if movement.slot else ""
    return MoveShown(
        at=movement.observed_at,
        person=person_name(shop, movement.author_id),
        sentence=f"{_DID[movement.kind]}{slot}.",
        reason=movement.why or movement.state,
    )
