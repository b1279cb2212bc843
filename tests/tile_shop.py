"""A shop's book with instruments and check tiles, built record by record for tests."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from service.domain.record_file import RecordFile
from service.domain.records.measuring import AngleReading
from service.domain.records.shop import CheckTile, Instrument, TileReading
from service.domain.terms import Specular
from tests.builders import MONDAY, make_id

Lab = tuple[float, float, float]
GREY: Lab = (56.0, -0.2, 0.4)
THRICE: tuple[Lab, ...] = ((0.02, -0.01, 0.01), (-0.02, 0.02, 0.01), (0.0, -0.01, -0.02))
"""Repeats around a colour; they add up to nothing in each channel."""


def around(lab: Lab, noise: tuple[Lab, ...] = THRICE, times: float = 1.0) -> tuple[Lab, ...]:
    """Repeats about a colour, rounded as instruments show them."""
    return tuple(
        (
            round(lab[0] + times * n[0], 4),
            round(lab[1] + times * n[1], 4),
            round(lab[2] + times * n[2], 4),
        )
        for n in noise
    )


class TileShop:
    """Adds records to the shop's file."""

    def __init__(self) -> None:
        self.file = RecordFile(make_id("shop"))
        self.count = 0

    def add(self, kind: type[Any], key: str, days: float = 0.0, **fields: Any) -> Any:
        at = MONDAY + timedelta(days=days)
        record = kind(
            id=make_id(key),
            shop_id=make_id("shop"),
            author_id=make_id("painter"),
            observed_at=at,
            received_at=at,
            **fields,
        )
        self.file = self.file.with_records([record])
        return record

    def instrument(self, name: str = "Bench sphere", **fields: Any) -> Instrument:
        return self.add(Instrument, f"instrument {name}", name=name, geometry="d:8", **fields)

    def tile(self, name: str = "Grey tile") -> CheckTile:
        return self.add(CheckTile, f"tile {name}", name=name)

    def read(
        self,
        instrument: Instrument,
        tile: CheckTile,
        lab: Lab | dict[int, Lab] = GREY,
        days: float = 0.0,
        *,
        repeats: tuple[Lab, ...] = THRICE,
        **fields: Any,
    ) -> TileReading:
        self.count += 1
        by_angle: dict[int | None, Lab] = dict(lab) if isinstance(lab, dict) else {None: lab}
        given: dict[str, Any] = {
            "illuminant": "D65",
            "observer": 10,
            "geometry": "d:8",
            "specular": Specular.INCLUDED,
            "surface_temperature_c": 23.0,
            **fields,
        }
        return self.add(
            TileReading,
            f"tile reading {self.count}",
            days,
            tile_id=tile.root,
            instrument_id=instrument.root,
            angles=tuple(
                AngleReading(angle=angle, repeats=around(value, repeats))
                for angle, value in by_angle.items()
            ),
            **given,
        )
