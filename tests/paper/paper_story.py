"""A job to print: a metallic van whose names are what a test makes of them, and its repair."""

from __future__ import annotations

from datetime import UTC, datetime

from service.domain.records.cards import Card
from service.domain.records.job import Finish
from service.domain.terms import (
    CoatRole,
    ComponentRole,
    EyeWord,
    FinishingKind,
    FinishKind,
    HidingMark,
    JointKind,
    Look,
)
from service.use_cases import cards, closing, job, measuring, shop, spraying
from service.use_cases.card_paper import CardPaper, card_paper
from service.use_cases.job_paper import JobPaper, job_paper
from service.use_cases.papers import JournalHead, PaperHead, paper_head
from service.use_cases.repair_paper import (
    RepairPaper,
    near_the_car,
    reading_shown,
    repair_on_file,
    repair_paper,
)
from tests.fakes import FakeQueries, FakeStore
from tests.shop_hand import ShopHand

MASTER = {15: (80.0, -1.0, -6.0), 45: (52.0, -1.2, -4.0), 110: (30.0, -1.0, -3.0)}
DARKER = {15: (78.0, -1.0, -6.6), 45: (50.4, -1.1, -5.4), 110: (28.6, -1.0, -4.2)}
PRINTED_AT = datetime(2026, 3, 4, 23, 40, tzinfo=UTC)
HEADS = (
    JournalHead(of="this job", position=47, hash="0123456789abcdef" * 4),
    JournalHead(of="the shop", position=9, hash="fedcba9876543210" * 4),
)
FULL_SLOT = "A-12 left rear hook."


class PaperStory:
    """Two batches, one of which shows; an acceptance; a repair years later.

    ``named`` stands in every name and note that people type.
    """

    def __init__(self, named: str = "", *, demo: bool = False) -> None:
        self.named = named
        self.store = FakeStore("Northside Refinish" if not named else _cut(named, 200))
        self.hand = ShopHand(self.store)
        self.painter = self.hand.do(shop.AddPerson, name=self.name("Tove", 80), roles=("painter",))
        self.instrument = self.hand.do(
            shop.RegisterInstrument,
            name=self.name("Three angles", 80),
            geometry="multi-angle",
            standard_uncertainty=0.05,
        )
        self.demo = demo
        self._spray()

    def name(self, plain: str, longest: int) -> str:
        """A name, with what the test puts into it, as long as the record takes."""
        return _cut(f"{plain} {self.named}".strip(), longest)

    def _spray(self) -> None:
        hand = self.hand
        hand.job_id = hand.do(
            job.OpenJob, work_order=self.name("W-1042", 40), title=self.name("Delivery van", 200)
        )
        hand.finish = hand.on_job(
            job.AddFinish,
            name=self.name("Body", 80),
            kind=FinishKind.METALLIC,
            colour_code="INV-7",
            colour_name=self.name("Frost", 80),
            ground_coat="grey",
            ground_shade="G3",
            clear=self.name("Plain clear", 80),
            coats_to_hide=3,
        )
        self.wing = hand.panel(self.name("Left wing", 80))
        self.door = hand.panel(self.name("Left door", 79) + ".", y=1.0)
        self.joint = hand.on_job(
            job.AddJoint, kind=JointKind.GAP, panel_a=self.wing, panel_b=self.door
        )
        self.master, self.master_read = self._card(MASTER, self.wing, "A-11")
        hand.master(self.master, self.master_read)
        self.bad, _ = self._card(DARKER, self.door, FULL_SLOT)
        self.bad_batch = hand.file.get(Card, self.bad).batch_id
        hand.on_job(closing.Accept, joint_id=self.joint, why=self.name("Seen in daylight", 500))
        hand.on_job(
            measuring.LogEyeCheck,
            card_id=self.bad,
            against_card_id=self.master,
            look=Look.FLOP,
            light=self.name("north window", 60),
            word=EyeWord.CLEARLY_SEEN,
            note=self.name("Bluer", 300),
        )
        hand.on_job(cards.PullCard, card_id=self.bad, why=self.name("To hold beside", 500))

    def _card(self, lab: dict[int, tuple[float, float, float]], panel: str, slot: str):  # type: ignore[no-untyped-def]
        hand = self.hand
        poured = (
            spraying.Poured(
                product=self.name("Frost base", 120),
                role=ComponentRole.BASE,
                lot=self.name("L-77", 60),
                amount=400.0,
            ),
            spraying.Poured(product="Slow reducer", role=ComponentRole.REDUCER, amount=200.0),
        )
        set_up = spraying.GunSetUp(
            gun=self.name("base gun", 60),
            tip_mm=1.3,
            pressure_bar=2.0,
            distance_mm=160,
            booth=self.name("Booth 1", 60),
            booth_temperature_c=21.0,
            booth_humidity_percent=48,
            flash_minutes=12,
        )
        batch = hand.batch(components=poured, formula=self.name("F-31", 80))
        hand.spray(batch, panel_ids=(panel,), set_up=set_up)
        card = hand.card(
            batch,
            slot=slot,
            coats=0,
            hiding_mark=HidingMark.COVERED,
            substrate=self.name("coated metal", 80),
            note=self.name("cut corner", 300),
        )
        hand.spray(batch, card_ids=(card,), set_up=set_up)
        clear = hand.batch(
            role=CoatRole.CLEAR,
            components=(
                spraying.Poured(product="Plain clear", role=ComponentRole.CLEAR, amount=300),
                spraying.Poured(product="Hardener", role=ComponentRole.HARDENER, amount=150),
            ),
        )
        hand.spray(clear, 2, card_ids=(card,), set_up=set_up)
        hand.bake(card)
        hand.on_job(spraying.FinishSurface, card_ids=(card,), kind=FinishingKind.CUT, grit=2000)
        read = hand.read(
            card, lab, geometry="multi-angle", specular=None, instrument_id=self.instrument
        )
        return card, read

    def head(self, file=None, *, paper: str = "a4", heads=()) -> PaperHead:  # type: ignore[no-untyped-def]
        """The head of a paper of the job."""
        made = paper_head(
            file or self.hand.file,
            self.store.shop(),
            printed_at=PRINTED_AT,
            zone="Europe/Lisbon",
            paper=paper,
            heads=heads,
        )
        from dataclasses import replace

        return replace(made, is_demo=self.demo)

    def card(self, card: str = "", *, paper: str = "a4") -> CardPaper:
        """The sheet of a card, of the one that shows unless told."""
        file = self.hand.file
        found = file.get(Card, card or self.bad)
        return card_paper(
            file, self.store.shop(), found, self.head(paper=paper), "https://cards.example"
        )

    def job(self, *, paper: str = "a4") -> JobPaper:
        """The report of the job."""
        return job_paper(self.hand.file, self.store.shop(), self.head(paper=paper, heads=HEADS))

    def start_repair(self) -> None:
        """Years later: a repair, the car read at its wing."""
        hand = self.hand
        self.stored = hand.job_id
        hand.job_id = hand.do(
            job.OpenJob,
            work_order=_cut(f"R-100 {self.named}", 40),
            title=self.name("Van again", 200),
            repairs_job_id=self.stored,
            repairs_finish_id=hand.finish,
            damage=self.name("Stone chip", 200),
        )
        hand.finish = hand.file.all(Finish)[0].root
        self.damaged = hand.panel(self.name("Left wing", 80))

    def read_car(self) -> None:
        """The car near the damage, aged."""
        aged = {angle: (l + 1.3, a, b + 1.2) for angle, (l, a, b) in MASTER.items()}  # noqa: E741
        self.hand.read(
            None,
            aged,
            panel_id=self.damaged,
            geometry="multi-angle",
            specular=None,
            instrument_id=self.instrument,
        )

    def repair(self, *, paper: str = "a4") -> RepairPaper:
        """The sheet of the repair."""
        file = self.hand.file
        near = near_the_car(FakeQueries(self.store), file, reading_shown(file))
        return repair_paper(
            file,
            self.store.job(repair_on_file(file).stored_job_id),
            self.store.shop(),
            self.head(file, paper=paper),
            near=near,
            public_address="https://cards.example",
        )


def _cut(text: str, longest: int) -> str:
    return text[:longest].strip() or "x"
