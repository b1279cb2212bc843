"""The check tile of the demo: what the single-angle instrument read of it over three years."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from demo_cards.names import id_of
from demo_cards.readings_made import repeats_of
from demo_cards.script import Planned, instrument_id, person_id, told
from service.use_cases.check_tiles import LogTileReading, RegisterCheckTile

TILE_ID = id_of("check tile")
ENTERED_AFTER = timedelta(seconds=40)


def tile_plan() -> Iterator[Planned]:
    """The tile is registered with its first reading, a minute before it."""
    tile = told("tile")
    first = datetime.fromisoformat(tile["readings"][0]["at"])
    yield Planned(
        received_at=first - timedelta(minutes=1),
        person_id=person_id("manager"),
        command=RegisterCheckTile(id=TILE_ID, name=tile["name"], serial=tile["serial"]),
    )
    for number, one in enumerate(tile["readings"], 1):
        at = datetime.fromisoformat(one["at"])
        true = tuple(t + m for t, m in zip(tile["lab"], one["moved"], strict=True))
        yield Planned(
            received_at=at + ENTERED_AFTER,
            person_id=person_id(one["by"]),
            command=LogTileReading(
                id=id_of("check tile reading", number),
                tile_id=TILE_ID,
                instrument_id=instrument_id(several_angles=False),
                illuminant="D65",
                observer=10,
                angles=repeats_of(
                    {"": (true[0], true[1], true[2])},
                    tile["noise"],
                    tile["repeats"],
                    seed=tile["seed"],
                    name=one["at"],
                ),
                surface_temperature_c=22.5,
                is_reference=one.get("is_reference", False),
                note=one.get("note", ""),
                observed_at=at,
            ),
        )
