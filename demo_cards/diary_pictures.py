"""The diary's word for a card's photograph; the demo draws its own."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from hashlib import sha256

from demo_cards.diary import word
from demo_cards.drawing import SIZE, Lab, draw_card
from demo_cards.names import code_of
from demo_cards.readings_made import true_colours
from demo_cards.script import Script, Step, card_id, told
from service.domain.card_code import grouped
from service.use_cases.cards import AttachPhoto
from service.use_cases.command import Command

STAGES = (("bare", "base_dry"), ("cleared", "baked"), ("polished", "polished"))


@word("picture")
def picture(script: Script, step: Step) -> Iterator[Command]:
    """A picture of a card; its bytes must be in the photo store before."""
    content = picture_of(step["card"], script.finish_of_card(step["card"]))
    yield AttachPhoto(
        id=script.id(step),
        observed_at=script.at(step),
        job_id=script.job_id,
        card_id=card_id(step["card"]),
        sha256=sha256(content).hexdigest(),
        media_type="image/jpeg",
        size_bytes=len(content),
        width=SIZE[0],
        height=SIZE[1],
        caption="Drawn by the demo from invented readings; no photograph, and no proof.",
    )


@cache
def picture_of(card: str, finish: str) -> bytes:
    """The drawn card, in the colours it truly has at 45° (or at its only angle)."""
    colours = told("colours")
    zones: list[tuple[str, Lab]] = []
    flake = False
    for name, stage in STAGES:
        true = true_colours(colours, finish, stage, card)
        flake = len(true) > 1
        zones.append((name, true["45" if flake else ""]))
    return draw_card(
        grouped(code_of(card)), f"{finish} (invented)", zones, flake=flake, seed=colours["seed"]
    )
