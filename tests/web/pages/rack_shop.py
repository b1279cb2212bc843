"""A shop whose rack holds the cards of an invented dark green, and a refinisher before it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

from service.domain.records.cards import Card
from service.domain.records.job import Finish
from service.domain.terms import CardKind, ComponentRole, FinishKind, JointKind, Stage
from service.use_cases import job, spraying
from tests.web.pages.bench_shop import BenchShop, Browser, Element, Sheet

Lab = tuple[float, float, float]
GREEN: Lab = (22.0, -12.0, 4.0)
NEAR: Lab = (22.1, -12.05, 4.1)
YELLOWER: Lab = (22.3, -11.6, 6.4)


@dataclass
class Hung:
    """A card in the rack, and what it came from."""

    card: str
    code: str
    batch: str
    reading: str


class RackShop(BenchShop):
    """One job with a master and two more batches, hung in slots."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.refinisher = self.hand.refinisher

    def story(self, kind: FinishKind = FinishKind.SOLID, **finish: Any) -> None:
        """Three batches: the master on the wing, one that blends, one that shows."""
        hand = self.hand
        finish = {"colour_code": "G-31", "colour_name": "Deep fir", "coats_to_hide": 3, **finish}
        hand.open(kind, **finish)
        self.wing, self.door = hand.panel("Left wing"), hand.panel("Left door", y=1.0)
        hand.on_job(job.AddJoint, kind=JointKind.GAP, panel_a=self.wing, panel_b=self.door)
        self.master = self.hung(GREEN, "A-01", panel=self.wing)
        self.spare = self.hung(GREEN, "A-02", batch=self.master.batch)
        hand.master(self.master.card, self.master.reading)
        self.good = self.hung(NEAR, "A-03", panel=self.door)
        self.bad = self.hung(YELLOWER, "A-04", panel=self.door)
        self.stored_job, self.stored_finish = hand.job_id, hand.finish

    def hung(
        self,
        lab: Lab | dict[int, Lab] | None,
        slot: str,
        *,
        panel: str = "",
        batch: str = "",
        kind: CardKind = CardKind.RETENTION,
        **reading: Any,
    ) -> Hung:
        """A pot with its card, baked and (where a colour is given) read."""
        hand = self.hand
        poured = (
            spraying.Poured(product="Deep fir base", role=ComponentRole.BASE, lot="B-77", amount=4),
        )
        batch = batch or hand.batch(components=poured, formula="F-31")
        set_up = spraying.GunSetUp(
            gun="base gun 2", tip_mm=1.3, pressure_bar=2.0, booth="Booth 1", flash_minutes=12
        )
        if panel:
            hand.spray(batch, panel_ids=(panel,), set_up=set_up)
        card = hand.card(batch, slot=slot, kind=kind, coats=0)
        hand.spray(batch, card_ids=(card,), set_up=set_up)
        hand.bake(card)
        read = hand.read(card, lab, **reading) if lab is not None else ""
        return Hung(card, self.store.job(hand.job_id).get(Card, card).code, batch, read)

    def repair(self, panel: str = "Left wing") -> str:
        """A repair of the stored finish, with its panel."""
        hand = self.hand
        hand.job_id = hand.do(
            job.OpenJob,
            work_order="R-100",
            title="Invented van, again",
            repairs_job_id=self.stored_job,
            repairs_finish_id=self.stored_finish,
            damage="Stone chip",
        )
        hand.finish = hand.file.all(Finish)[0].root
        self.damaged = hand.panel(panel)
        return hand.job_id

    def read_car(self, lab: Lab, **fields: Any) -> str:
        """The car near the damage."""
        return self.hand.read(None, lab, panel_id=self.damaged, stage=Stage.BAKED, **fields)

    def refinishing(self) -> Browser:
        """A browser of the refinisher."""
        return self.browser(self.refinisher)


def form_of(sheet: Sheet, ending: str) -> Element:
    """The one form of a page that is sent to an address of that ending."""
    found = [
        form
        for form in sheet.main.all("form")
        if urlsplit(form.attributes["action"]).path.endswith(ending)
    ]
    assert len(found) == 1, f"{len(found)} forms are sent to ...{ending}"
    return found[0]


def send(sheet: Sheet, ending: str, **typed: Any) -> Sheet:
    """Fill in one of several forms of a page and send it; ``__`` in a name stands for a point."""
    form = form_of(sheet, ending)
    named: dict[str, list[str]] = {}
    for field in form.all("input"):
        kind = field.attributes.get("type", "text")
        if kind in ("radio", "checkbox") and "checked" not in field.attributes:
            continue
        value = field.attributes.get("value", "")
        named.setdefault(field.attributes["name"], []).append(value)
    for name, value in typed.items():
        named[name.replace("__", ".")] = [str(value)]
    return sheet.browser.post(form.attributes["action"], named)


def codes_in(sheet: Sheet, class_: str = "hit") -> list[str]:
    """The codes of the cards a page lists, in its order."""
    drawn = [card for hit in sheet.main.all("div", class_=class_) for card in hit.all("a")]
    return [card.attributes["href"].rpartition("/")[2] for card in drawn if card.has(class_="card")]


def query_of(address: str) -> dict[str, list[str]]:
    """The query of an address."""
    return parse_qs(urlsplit(address).query)
