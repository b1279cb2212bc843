"""What the reading that stands for a card says at each angle, for many cards at once."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from service.domain.lookups import standing_reading
from service.domain.nearness import AtAngle, at_angles
from service.domain.record_file import RecordFile
from service.domain.records.measuring import Reading
from service.storage.codec import BOOLEAN, JSON
from service.storage.queries.scan import along, by_id
from service.storage.queries.statement import Conditions, one_of, storable
from service.storage.schema import CODECS, PLACE
from service.storage.sql import Row, Sql, quoted

CODEC = CODECS[Reading.table]
LEFT_OUT = ("spectra", "source")
"""Long, and no part of the answer; a reading without them stands just as well."""
COLUMNS = tuple(column for column in CODEC.columns if column.name not in LEFT_OUT)
NAMES = ", ".join(quoted(name) for name in (*PLACE, *(column.name for column in COLUMNS)))
ID, CORRECTS, JOB_ID = (
    len(PLACE) + [column.name for column in COLUMNS].index(name)
    for name in ("id", "corrects", "job_id")
)
OF_CARD = "ix_readings_card_id_observed_at"
CORRECTIONS = "uq_readings_corrects_revision"
MOST_IDS = 512


def angles_of_cards(
    sql: Sql, shop_id: str, ids: Sequence[str]
) -> Mapping[str, tuple[AtAngle, ...]]:
    """By card; nothing of a card that was never read.

    ``sql`` must see one moment, for corrections are read after what they correct.
    """
    found: dict[str, tuple[AtAngle, ...]] = {}
    wanted = [id for id in dict.fromkeys(ids) if storable(id)]
    for start in range(0, len(wanted), MOST_IDS):
        some = wanted[start : start + MOST_IDS]
        lines = _rows(sql, shop_id, "id, job_id", by_id(sql, "card_lines"), "id", some)
        homes = {str(id): str(job_id) for id, job_id in lines}
        rows = _rows(sql, shop_id, NAMES, along(sql, "readings", OF_CARD), "card_id", some)
        known = {row[ID]: row for row in rows}
        if known:
            # A correction may have moved a reading from another card, or to it.
            table = along(sql, "readings", CORRECTIONS)
            roots = list({row[CORRECTS] or row[ID] for row in rows})
            for row in _rows(sql, shop_id, NAMES, table, "corrects", roots):
                known[row[ID]] = row
            lacking = [root for root in roots if root not in known]
            if lacking:
                for row in _rows(sql, shop_id, NAMES, by_id(sql, "readings"), "id", lacking):
                    known[row[ID]] = row
        for id, reading in _standing(homes, known.values()):
            found[id] = at_angles(reading)
    return found


def _standing(homes: Mapping[str, str], rows: Iterable[Row]) -> Iterable[tuple[str, Reading]]:
    """The reading that stands for each card, of those of the card's own job."""
    of_job: dict[str, list[Reading]] = {job_id: [] for job_id in homes.values()}
    for row in sorted(rows, key=lambda row: row[: len(PLACE)]):
        if row[JOB_ID] in of_job:
            of_job[row[JOB_ID]].append(_reading(row[len(PLACE) :]))
    files = {id: RecordFile(id).with_records(readings) for id, readings in of_job.items()}
    for id, job_id in homes.items():
        reading = standing_reading(files[job_id].by(Reading, "card_id", id))
        if reading is not None:
            yield id, reading


def _rows(
    sql: Sql, shop_id: str, names: str, table: str, column: str, values: Sequence[str]
) -> list[Row]:
    found: list[Row] = []
    for start in range(0, len(values), MOST_IDS):
        marks, listed = one_of(values[start : start + MOST_IDS])
        conditions = Conditions(shop_id)
        conditions.add(f"{column} IN {marks}", *listed)
        found += sql.rows(f"SELECT {names} FROM {table} WHERE {conditions.sql}", conditions.values)
    return found


def _reading(row: Row) -> Reading:
    plain: dict[str, Any] = {}
    for column, held in zip(COLUMNS, row, strict=True):
        if held is None:
            plain[column.name] = None
        elif column.kind == JSON:
            plain[column.name] = json.loads(held) if isinstance(held, str) else held
        elif column.kind == BOOLEAN:
            plain[column.name] = bool(held)
        else:
            plain[column.name] = held
    reading = CODEC.decode(plain)
    assert isinstance(reading, Reading)
    return reading
