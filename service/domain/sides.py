"""The two sides of a joint: the stack of colour coats there, and the card that stands for it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from service.domain.lookups import cards_of_batch, readings_of_whole_card
from service.domain.pooling import as_sprayed
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Area, Finish, Joint, Panel
from service.domain.records.spraying import Batch, Coat
from service.domain.terms import CardKind, CoatRole, HidingMark

Stack = tuple[tuple[CoatRole, str], ...]
"""The colour coats in order, each as its role and the id of its batch."""

_LAYER = {CoatRole.GROUND: 0, CoatRole.BASE: 1, CoatRole.MID: 2}


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a joint: its place, its stack, and the card that stands for it, if any.

    ``why`` says how the card stands for the side, or why none does; ``remedy`` what to do then.
    """

    panel_id: str
    area_id: str | None
    stack: Stack
    card_id: str | None
    why: str
    remedy: str = ""


def colour_stack(coats: Iterable[Coat]) -> Stack:
    """The stack of colour coats, lowest first."""
    colour = [coat for coat in coats if coat.role.gives_colour]
    colour.sort(key=lambda c: (_LAYER[c.role], c.number, c.observed_at))
    return tuple((coat.role, coat.batch_id) for coat in colour)


def coats_at(file: RecordFile, panel_id: str, area_id: str | None) -> list[Coat] | None:
    """Coats on a panel or an area of it; None when the panel's areas differ and none is named."""
    coats = file.by(Coat, "panel_id", panel_id)
    areas = {coat.area_id for coat in coats} - {None}
    if area_id is not None:
        return [coat for coat in coats if coat.area_id in (None, area_id)]
    if not areas:
        return coats
    stacks = [[c for c in coats if c.area_id in (None, area)] for area in areas]
    if len({colour_stack(stack) for stack in stacks}) > 1:
        return None
    return stacks[0]


def side_at(file: RecordFile, panel_id: str, area_id: str | None) -> Side:
    """Find what stands for one side of a joint.

    A card with the same stack; else a card of the batch of the last colour coat, if that coat
    hides what lies under it; else none.
    """
    # A panel is a side of several joints, and each of them is asked about more than once.
    known = file.once(_sides)
    place = (panel_id, area_id)
    if place not in known:
        known[place] = _side_at(file, panel_id, area_id)
    return known[place]


def _sides(file: RecordFile) -> dict[tuple[str, str | None], Side]:
    """The sides of a file, filled as they are asked for."""
    return {}


def _side_at(file: RecordFile, panel_id: str, area_id: str | None) -> Side:
    coats = coats_at(file, panel_id, area_id)
    if coats is None:
        return Side(
            panel_id,
            area_id,
            (),
            None,
            "its areas were sprayed from different batches and the joint names none",
            "Say which area meets the joint.",
        )
    stack = colour_stack(coats)
    if not stack:
        return Side(
            panel_id,
            area_id,
            (),
            None,
            "no colour coat is logged there",
            "Log its coats, or wait until it is sprayed.",
        )
    finish = file.get(Finish, file.get(Panel, panel_id).finish_id)
    alike = [
        card
        for batch_id in dict.fromkeys(batch_id for _, batch_id in stack)
        for card in cards_of_batch(file, batch_id)
        if colour_stack(file.by(Coat, "card_id", card.root)) == stack
    ]
    if alike:
        return Side(panel_id, area_id, stack, best(file, alike), "a card with the same coats")
    last_batch = file.get(Batch, stack[-1][1])
    if not last_coats_hide(finish, coats, stack):
        return Side(
            panel_id,
            area_id,
            stack,
            None,
            f"no card has its coats, and nothing shows that batch {last_batch.number} hides "
            "what lies under it",
            "Spray a card with the same coats, or log whether the last coat hides.",
        )
    cards = cards_of_batch(file, last_batch.root)
    if not cards:
        return Side(
            panel_id,
            area_id,
            stack,
            None,
            f"batch {last_batch.number} has no card",
            f"Spray a card from batch {last_batch.number} while the pot is good.",
        )
    why = f"a card of batch {last_batch.number}, whose coat hides what lies under it"
    return Side(panel_id, area_id, stack, best(file, cards), why)


def last_coats_hide(finish: Finish, coats: Iterable[Coat], stack: Stack) -> bool:
    """Whether the last colour coat hides: somebody saw it, or enough coats of its pot lie there."""
    role, batch_id = stack[-1]
    top = [c for c in coats if c.batch_id == batch_id and c.role is role]
    if any(coat.hides for coat in top):
        return True
    run = 0
    for layer in reversed(stack):
        if layer != (role, batch_id):
            break
        run += 1
    return (
        finish.coats_to_hide is not None
        and role is not CoatRole.MID
        and run >= finish.coats_to_hide
        and not any(coat.hides is False for coat in top[-1:])
    )


def best(file: RecordFile, cards: Iterable[Card]) -> str:
    """The card that stands best for a batch: finished furthest, retention before trial, newest.

    A card read for the first time long after another was does not take that one's place.
    """
    cards = list(cards)
    furthest = dict.fromkeys((card.root for card in cards), -1)
    for reading in as_sprayed(r for card in cards for r in readings_of_whole_card(file, card.root)):
        card_id = reading.card_id or ""
        furthest[card_id] = max(furthest[card_id], reading.stage.order)

    def rank(card: Card) -> tuple[int, bool, bool, float]:
        return (
            furthest[card.root],
            card.kind is CardKind.RETENTION,
            card.hiding_mark is not HidingMark.SHOWS_THROUGH,
            card.observed_at.timestamp(),
        )

    return max(cards, key=rank).root


def joint_gap(file: RecordFile, joint: Joint) -> str:
    """Why a joint cannot be judged yet, as a code of JointLine; empty when it can."""
    panel_a, panel_b = file.get(Panel, joint.panel_a), file.get(Panel, joint.panel_b)
    if panel_a.finish_id != panel_b.finish_id:
        return "two_finishes"
    side_a = side_at(file, joint.panel_a, joint.area_a)
    side_b = side_at(file, joint.panel_b, joint.area_b)
    if side_a.stack and side_a.stack == side_b.stack:
        return "one_stack"
    if side_a.card_id is None or side_b.card_id is None:
        return "no_side"
    if side_a.card_id == side_b.card_id:
        return "one_stack"
    if not all(
        readings_of_whole_card(file, side.card_id) for side in (side_a, side_b) if side.card_id
    ):
        return "no_reading"
    return ""


def joint_name(file: RecordFile, joint: Joint) -> str:
    """The joint as people say it: left door to left wing."""
    return " to ".join(
        place_name(file, panel, area)
        for panel, area in ((joint.panel_a, joint.area_a), (joint.panel_b, joint.area_b))
    )


def place_name(file: RecordFile, panel_id: str, area_id: str | None) -> str:
    """A panel, or an area of it, as people say it."""
    panel = file.get(Panel, panel_id).name
    return panel if area_id is None else f"{panel}, {file.get(Area, area_id).name}"
