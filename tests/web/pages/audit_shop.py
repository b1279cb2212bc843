"""A shop whose batches have lots, booths and guns, for the pages of the office."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

from service.domain.records.measuring import Verdict
from service.domain.terms import ComponentRole, FinishKind, JointKind, MovementKind
from service.use_cases import cards, closing, job, spraying
from service.use_cases.sign_in import IDLE, LONGEST
from service.web.security import COOKIE
from tests.web.pages.bench_shop import BenchShop, Sheet

Lab = tuple[float, float, float]
MASTER: Lab = (45.0, -5.0, -20.0)
NEAR: Lab = (45.15, -5.05, -19.95)
BLUE: Lab = (43.6, -4.9, -22.2)
"""An invented blue: the master, one that blends with it, and one that is bluer and darker."""


@dataclass
class Told:
    """Ids of what the story made."""

    batches: dict[int, str] = field(default_factory=dict)
    cards: dict[int, str] = field(default_factory=dict)
    readings: dict[int, str] = field(default_factory=dict)
    panels: dict[str, str] = field(default_factory=dict)
    joints: dict[str, str] = field(default_factory=dict)


class AuditShop(BenchShop):
    """A manager's shop: one job whose third batch drifted."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.told = Told()

    def sprayed(
        self,
        number: int,
        lab: Lab | dict[int, Lab] | None,
        *,
        lot: str = "B-1",
        booth: str = "Booth 1",
        gun: str = "base gun",
        by: str | None = None,
        panels: tuple[str, ...] = (),
        card: bool = True,
        **reading: Any,
    ) -> None:
        """One pot: mixed, sprayed on panels and a card, the card baked and read."""
        hand, told = self.hand, self.told
        hand.clock += timedelta(hours=1)
        poured = spraying.Poured(
            product="Deep basecoat", role=ComponentRole.BASE, lot=lot, amount=400.0
        )
        batch = told.batches[number] = hand.batch(
            components=(poured,), number=number, by=by or self.painter
        )
        set_up = spraying.GunSetUp(booth=booth, gun=gun, hides=True)
        where = tuple(told.panels[name] for name in panels)
        if where:
            for _ in range(3):
                hand.on_job(spraying.SprayCoat, batch_id=batch, panel_ids=where, set_up=set_up)
        if not card:
            return
        told.cards[number] = hand.card(batch, by=by or self.painter, slot=f"A-{number:02d}")
        if not where:
            hand.on_job(
                spraying.SprayCoat, batch_id=batch, card_ids=(told.cards[number],), set_up=set_up
            )
        hand.bake(told.cards[number])
        if lab is not None:
            told.readings[number] = hand.read(told.cards[number], lab, **reading)

    def panel(self, name: str, **fields: Any) -> str:
        self.told.panels[name] = self.hand.panel(name, **fields)
        return self.told.panels[name]

    def joint(self, first: str, second: str, kind: JointKind = JointKind.GAP) -> str:
        told = self.told
        told.joints[f"{first} {second}"] = self.hand.on_job(
            job.AddJoint,
            kind=kind,
            panel_a=told.panels[first],
            panel_b=told.panels[second],
        )
        return told.joints[f"{first} {second}"]

    def story(self, kind: FinishKind = FinishKind.SOLID) -> Told:
        """Wing and door from good batches, the bonnet from one that drifted: a gap would show."""
        self.hand.open(kind, coats_to_hide=2)
        for place, name in enumerate(("Wing", "Door", "Bonnet")):
            self.panel(name, y=float(place))
        self.joint("Wing", "Door")
        self.joint("Wing", "Bonnet")
        self.sprayed(1, MASTER, panels=("Wing",))
        self.hand.master(self.told.cards[1], self.told.readings[1])
        self.sprayed(2, NEAR, panels=("Door",))
        self.sprayed(
            3, BLUE, lot="B-2", booth="Booth 2", gun="spare gun", panels=("Bonnet",), card=True
        )
        return self.told

    def away(self, number: int, kind: MovementKind) -> None:
        """A card leaves its slot."""
        if kind is MovementKind.MISSING:
            self.hand.on_job(
                cards.ReportMissing, card_id=self.told.cards[number], why="Not in its slot."
            )
        else:
            self.hand.on_job(
                cards.PullCard, card_id=self.told.cards[number], why="To hold beside the car."
            )

    def verdict(self, **of: str) -> Verdict:
        """The newest verdict on a batch or joint."""
        ((field_name, id),) = of.items()
        return self.hand.file.by(Verdict, field_name, id)[-1]

    def accept(self, **of: str) -> None:
        self.hand.on_job(closing.Accept, why="The owner takes it.", **of)

    def cookie(self) -> dict[str, str]:
        """A manager's session for a real browser."""
        sessions = self.app.state.services.shop.sessions
        return {
            "name": COOKIE,
            "value": sessions.start(self.manager, idle=IDLE, longest=LONGEST),
        }


def table(sheet: Sheet, caption: str) -> list[list[str]]:
    """The rows of the table under a caption that begins so, cell by cell."""
    tables = [
        found for found in sheet.main.all("table") if found.one("caption").text.startswith(caption)
    ]
    assert len(tables) == 1, [t.one("caption").text for t in sheet.main.all("table")]
    rows = []
    for row in tables[0].one("tbody").all("tr"):
        cells = [child for child in row.children if not isinstance(child, str)]
        rows.append([cell.text for cell in cells])
    return rows


def evidence(verdict: Verdict) -> dict[str, Any]:
    return dict(json.loads(verdict.evidence))
