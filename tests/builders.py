"""A small job built record by record, for tests of the rules; nothing here touches storage."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid5

from service.domain.card_code import CARD_ALPHABET, check_character
from service.domain.record_file import RecordFile
from service.domain.records.base import JobRecord
from service.domain.records.cards import Card, Movement, Zone
from service.domain.records.job import Area, Finish, Job, Joint, Panel, Policy
from service.domain.records.measuring import AngleReading, Master, Reading, Verdict
from service.domain.records.spraying import Bake, Batch, Coat, Component
from service.domain.terms import (
    BakeTemperatureOf,
    CardKind,
    CoatRole,
    FinishKind,
    JointKind,
    Specular,
    Stage,
    Subject,
    Word,
)

SPACE = UUID("00000000-0000-4000-8000-000000000000")
MONDAY = datetime(2026, 6, 1, 8, 0, tzinfo=UTC)
Lab = tuple[float, float, float]


def make_id(name: str) -> str:
    """The same UUID for the same name."""
    return str(uuid5(SPACE, name))


def code_number(number: int) -> str:
    """A valid card code for each number."""
    for tail in itertools.count(number * 8):
        body = "".join(CARD_ALPHABET[tail >> shift & 31] for shift in range(35, -1, -5))
        if check_character(body) in CARD_ALPHABET:
            return body + check_character(body)
    raise AssertionError


class JobBuilder:
    """Adds records to a job's file, each a minute after the last."""

    def __init__(self, kind: FinishKind = FinishKind.SOLID, **policy: Any) -> None:
        self.file = RecordFile(make_id("job"))
        self.minutes = 0
        self.count = 0
        self.add(Job, "job", work_order="W-1", title="An invented van")
        coats_to_hide = policy.pop("coats_to_hide", None)
        ground = policy.pop("ground_shade", "")
        self.finish = self.add(
            Finish,
            "finish",
            name="Body",
            kind=kind,
            coats_to_hide=coats_to_hide,
            ground_shade=ground,
        )
        self.add(Policy, "policy", finish_id=self.finish.root, **policy)

    def add(self, record_type: type[Any], key: str, /, **fields: Any) -> Any:
        at = fields.pop("at", None) or MONDAY + timedelta(minutes=self.minutes)
        self.minutes += 1
        record = record_type(
            id=make_id(key),
            shop_id=make_id("shop"),
            author_id=make_id("painter"),
            observed_at=at,
            received_at=at,
            job_id=self.file.chain,
            **fields,
        )
        assert isinstance(record, JobRecord)
        self.file = self.file.with_records([record])
        return record

    def panel(self, name: str) -> Panel:
        return self.add(Panel, f"panel {name}", finish_id=self.finish.root, name=name)

    def area(self, panel: Panel, name: str) -> Area:
        return self.add(Area, f"area {panel.name} {name}", panel_id=panel.root, name=name)

    def joint(self, a: Panel, b: Panel, kind: JointKind = JointKind.BUTT, **fields: Any) -> Joint:
        name = f"joint {a.name} {b.name} {fields}"
        return self.add(Joint, name, kind=kind, panel_a=a.root, panel_b=b.root, **fields)

    def batch(self, number: int, role: CoatRole = CoatRole.BASE) -> Batch:
        return self.add(
            Batch, f"batch {number}", finish_id=self.finish.root, number=number, role=role
        )

    def component(self, batch: Batch, **fields: Any) -> Component:
        self.count += 1
        return self.add(Component, f"component {self.count}", batch_id=batch.root, **fields)

    def coats(
        self,
        batch: Batch,
        count: int = 1,
        *,
        panel: Panel | None = None,
        area: Area | None = None,
        card: Card | None = None,
        role: CoatRole | None = None,
        first: int = 1,
        hides: bool | None = None,
    ) -> None:
        for number in range(first, first + count):
            self.count += 1
            self.add(
                Coat,
                f"coat {self.count}",
                batch_id=batch.root,
                role=role or batch.role,
                number=number,
                panel_id=panel.root if panel else area.panel_id if area else None,
                area_id=area.root if area else None,
                card_id=card.root if card else None,
                hides=hides,
            )

    def card(self, batch: Batch, name: str = "", coats: int = 0, **fields: Any) -> Card:
        self.count += 1
        card = self.add(
            Card,
            f"card {name or self.count}",
            batch_id=batch.root,
            finish_id=batch.finish_id,
            code=code_number(self.count),
            kind=fields.pop("kind", CardKind.RETENTION),
            **fields,
        )
        if coats:
            self.coats(batch, coats, card=card)
        return card

    def zone(self, card: Card, **fields: Any) -> Zone:
        self.count += 1
        return self.add(Zone, f"zone {self.count}", card_id=card.root, **fields)

    def bake(self, card: Card, at: datetime | None = None) -> Bake:
        self.count += 1
        return self.add(
            Bake,
            f"bake {self.count}",
            card_id=card.root,
            minutes=40,
            temperature_c=63,
            temperature_of=BakeTemperatureOf.AIR,
            at=at,
        )

    def reading(
        self,
        card: Card | None,
        lab: Lab | dict[int, Lab] = (50.0, 0.0, 0.0),
        *,
        repeats: int = 3,
        **fields: Any,
    ) -> Reading:
        self.count += 1
        by_angle: dict[int | None, Lab] = dict(lab) if isinstance(lab, dict) else {None: lab}
        given: dict[str, Any] = {
            "stage": Stage.BAKED,
            "illuminant": "D65",
            "observer": 10,
            "geometry": "d:8",
            "specular": Specular.INCLUDED,
            "surface_temperature_c": 23.0,
            "standard_uncertainty": 0.05,
            "card_id": card.root if card else None,
            **fields,
        }
        angles = tuple(
            AngleReading(angle=angle, repeats=(value,) * repeats)
            for angle, value in by_angle.items()
        )
        return self.add(Reading, f"reading {self.count}", angles=angles, **given)

    def master(self, card: Card, *readings: Reading) -> Master:
        self.count += 1
        return self.add(
            Master,
            f"master {self.count}",
            finish_id=card.finish_id,
            card_id=card.root,
            reading_ids=tuple(reading.root for reading in readings),
        )

    def movement(self, card: Card, **fields: Any) -> Movement:
        self.count += 1
        return self.add(
            Movement,
            f"movement {self.count}",
            card_id=card.root,
            holder_id=make_id("painter"),
            **fields,
        )

    def verdict(self, word: Word, **fields: Any) -> Verdict:
        self.count += 1
        given: dict[str, Any] = {
            "subject": Subject.JOINT if "joint_id" in fields else Subject.BATCH,
            "sentence": f"It {word}.",
            "stage": Stage.BAKED,
            "limit": 0.8,
            "limit_origin": "a test",
            "risk": 0.05,
            **fields,
        }
        return self.add(Verdict, f"verdict {self.count}", word=word, **given)
