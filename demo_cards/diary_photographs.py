"""The diary's word for a photograph of cards on the photo sheet; the demo's are simulated."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from hashlib import sha256
from pathlib import Path

from demo_cards.diary import word
from demo_cards.script import Script, Step, card_id, told, zone_id
from service.domain.terms import Stage
from service.use_cases.command import Command
from service.use_cases.photographs import Lying, NewPhotograph

FOLDER = Path(__file__).parent / "photographs"
CAPTION = "SIMULATED PHOTOGRAPH of invented cards; no camera was near, and it proves nothing"


@word("photograph")
def photograph(script: Script, step: Step) -> Iterator[Command]:
    """Cards side by side on the sheet; their colours are read from the stored bytes later."""
    told_of = told("photographs")
    yield NewPhotograph(
        id=script.id(step, step["photo"]),
        observed_at=script.at(step),
        job_id=script.job_id,
        photo_sha256=sha256(photograph_of(step["photo"])).hexdigest(),
        lying=tuple(
            Lying(
                window=window,
                card_id=card_id(card),
                zone_id=zone_id(card, told_of["zone"]),
                stage=Stage(told_of["stage"]),
                surface_temperature_c=step["at_c"],
            )
            for window, card in told_of["cards"][step["photo"]].items()
        ),
        caption=CAPTION,
    )


@cache
def photograph_of(name: str) -> bytes:
    """A file of ``demo_cards/photographs``, as its script wrote it."""
    return (FOLDER / f"{name}.jpg").read_bytes()
