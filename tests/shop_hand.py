"""A hand in the shop: performs commands in a real store, for tests that tell a story."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

from service.domain.card_code import new_card_code
from service.domain.record_file import RecordFile
from service.domain.records.measuring import AngleReading
from service.domain.records.shop import Person
from service.domain.terms import BakeTemperatureOf, CardKind, FinishKind, Role, Specular, Stage
from service.use_cases import (  # noqa: F401  registers every verb
    cards,
    closing,
    correcting,
    job,
    measuring,
    shop,
    spraying,
)
from service.use_cases.command import Command, perform
from service.use_cases.ports import Receipt, Store

Lab = tuple[float, float, float]
THREE_TIMES = ((0.03, -0.02, 0.01), (-0.02, 0.03, -0.02), (-0.01, -0.01, 0.01))


class ShopHand:
    """One job in a store, worked on by people of each role."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.manager = store.shop().all(Person)[0].root
        self.painter = self.do(shop.AddPerson, name="Pat", roles=(Role.PAINTER,))
        self.refinisher = self.do(shop.AddPerson, name="Ray", roles=(Role.REFINISHER,))
        self.clock = datetime.now(UTC) - timedelta(days=2)
        self.job_id = ""
        self.finish = ""

    def do(self, verb: type[Command], /, *, by: str | None = None, **fields: Any) -> str:
        """Perform a command and return its id."""
        command = verb(id=str(uuid4()), **fields)
        self.send(command, by)
        return command.id

    def send(self, command: Command, by: str | None = None) -> Receipt:
        return perform(self.store, by or self.manager, command)

    def on_job(self, verb: type[Command], /, *, by: str | None = None, **fields: Any) -> str:
        """The same on the job at hand, a minute after the last."""
        self.clock += timedelta(minutes=1)
        fields.setdefault("observed_at", self.clock)
        return self.do(verb, by=by, job_id=self.job_id, **fields)

    @property
    def file(self) -> RecordFile:
        return self.store.job(self.job_id)

    def open(self, kind: FinishKind = FinishKind.SOLID, **finish: Any) -> None:
        self.job_id = self.do(job.OpenJob, work_order=f"W-{uuid4().hex[:6]}", title="Invented van")
        self.finish = self.on_job(job.AddFinish, name="Body", kind=kind, **finish)

    def panel(self, name: str, **fields: Any) -> str:
        return self.on_job(job.AddPanel, finish_id=self.finish, name=name, **fields)

    def batch(self, **fields: Any) -> str:
        return self.on_job(spraying.MixBatch, finish_id=self.finish, **fields)

    def card(self, batch: str, coats: int = 3, **fields: Any) -> str:
        fields.setdefault("kind", CardKind.RETENTION)
        if coats:
            fields.setdefault("coats", (cards.CardCoats(batch_id=batch, coats=coats),))
        return self.on_job(cards.LogCard, batch_id=batch, code=new_card_code(), **fields)

    def bake(self, *cards_baked: str) -> None:
        self.on_job(
            spraying.BakeThem,
            card_ids=cards_baked,
            minutes=40,
            temperature_c=63,
            temperature_of=BakeTemperatureOf.AIR,
        )
        self.clock += timedelta(hours=4)

    def spray(self, batch: str, coats: int = 3, **where: Any) -> None:
        for _ in range(coats):
            self.on_job(spraying.SprayCoat, batch_id=batch, **where)

    def read(self, card: str | None, lab: Lab | dict[int, Lab], **fields: Any) -> str:
        """Three repeats around a colour, by an instrument of known repeatability."""
        by_angle: dict[int | None, Lab] = dict(lab) if isinstance(lab, dict) else {None: lab}
        repeats = fields.pop("repeats", THREE_TIMES)
        reading = measuring.Measured(
            stage=Stage.BAKED,
            illuminant="D65",
            observer=10,
            geometry="d:8",
            specular=Specular.INCLUDED,
            surface_temperature_c=22.0,
            standard_uncertainty=0.05,
            card_id=card,
            angles=tuple(
                AngleReading(
                    angle=angle,
                    repeats=tuple(
                        tuple(round(x + dx, 4) for x, dx in zip(value, noise, strict=True))  # type: ignore[misc]
                        for noise in repeats
                    ),
                )
                for angle, value in by_angle.items()
            ),
        )
        return self.on_job(measuring.LogReading, reading=replace(reading, **fields))

    def master(self, card: str, *readings: str) -> str:
        return self.on_job(closing.ApproveMaster, card_id=card, reading_ids=readings)
