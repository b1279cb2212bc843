"""The story as data, and what its names stand for in the record."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from demo_cards.names import id_of, moment
from service.use_cases.command import Command, part_id

SCENARIO = Path(__file__).parent / "scenario"

Step = Mapping[str, Any]


@cache
def told(name: str) -> Any:
    """One file of the scenario; it is shared, so it must not be changed."""
    return json.loads((SCENARIO / f"{name}.json").read_text(encoding="utf-8"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """One command of the story: whose it is, and when it reaches the service."""

    received_at: datetime
    person_id: str
    command: Command
    photo: bytes | None = None


@dataclass(slots=True, kw_only=True)
class Script:
    """One job's story while it is turned into commands."""

    key: str
    monday: date
    finishes: Mapping[str, str]
    """Kind of each finish by its name; solids are read by the single-angle instrument."""
    calibrated_until: str = ""
    """When the instruments are due next, as the diary of a later year finds them."""
    finish_of_batch: dict[int, str] = field(default_factory=dict)
    batch_of_card: dict[str, int] = field(default_factory=dict)

    @property
    def job_id(self) -> str:
        """Id of the job."""
        return job_id(self.key)

    def at(self, step: Step, minutes: float = 0) -> datetime:
        """When a step happened, or a part of it that many minutes later."""
        return moment(self.monday, step["at"]) + timedelta(minutes=minutes)

    def id(self, step: Step, part: str | int = "") -> str:
        """Id of the command a step, or a part of it, becomes."""
        return id_of(self.key, step["at"], step["do"], step.get("card", ""), part)

    def finish_id(self, name: str) -> str:
        """A repair's finish is made with its job, from the stored one."""
        if self.key == "repair":
            return part_id(self.job_id, "finish")
        return id_of(self.key, "finish", name)

    def batch_id(self, number: int) -> str:
        return id_of(self.key, "batch", number)

    def panel_id(self, name: str) -> str:
        return id_of(self.key, "panel", name)

    def joint_id(self, a: str, b: str) -> str:
        return id_of(self.key, "joint", a, b)

    def place(self, name: str) -> tuple[str, str | None]:
        """Panel and area of a place as the diary writes it: Roof, rear half."""
        panel, _, area = name.partition(", ")
        panel_id = self.panel_id(panel)
        return panel_id, part_id(panel_id, f"area {area}") if area else None

    def places(self, names: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
        """Whole panels and areas among places."""
        found = [self.place(name) for name in names]
        return (
            tuple(panel for panel, area in found if area is None),
            tuple(area for _, area in found if area is not None),
        )

    def finish_of_card(self, card: str) -> str:
        """Name of the finish a card is of."""
        return self.finish_of_batch[self.batch_of_card[card]]


def job_id(key: str) -> str:
    """Id of a job by its key in the scenario."""
    return id_of("job", key)


def card_id(name: str) -> str:
    """Id of a card by the name the diary gives it; names are unlike in all jobs."""
    return id_of("card", name)


def zone_id(card: str, zone: str) -> str:
    """Id of a zone of a card."""
    return part_id(card_id(card), f"zone {zone}")


def reading_id(name: str) -> str:
    """Id of a reading; its name is the card's and the stage's unless the diary gives one."""
    return id_of("reading", name)


def person_id(key: str) -> str:
    """Id of a person by their key in the cast."""
    return id_of("person", key)


def instrument_id(several_angles: bool) -> str:
    """Id of the instrument that reads such a finish."""
    return id_of("instrument", 0 if several_angles else 1)


def product_id(name: str) -> str:
    """Id of a product sheet."""
    return id_of("product", name)
