"""What tables there are: one per class of record and of line, columns as the fields are.

Written without SQLAlchemy, so that opening a store costs no import of it; ``tables`` builds the
SQLAlchemy tables from this for migrations, tests and queries.
"""

from __future__ import annotations

from types import ModuleType

from service.domain.lines import LINES, Line
from service.domain.records import cards, job, measuring, shop, spraying
from service.domain.records.base import JobRecord, Record
from service.storage.codec import Codec, codec_of

_PARENTS = {
    "shop_id": "shops",
    "person_id": "people",
    "author_id": "people",
    "holder_id": "people",
    "instrument_id": "instruments",
    "tile_id": "check_tiles",
    "product_id": "products",
    "job_id": "jobs",
    "finish_id": "finishes",
    "panel_id": "panels",
    "area_id": "areas",
    "joint_id": "joints",
    "batch_id": "batches",
    "card_id": "cards",
    "zone_id": "zones",
    "frame_id": "frames",
    "photo_target_id": "photo_targets",
    "master_id": "masters",
    "verdict_id": "verdicts",
    "panel_a": "panels",
    "panel_b": "panels",
    "area_a": "areas",
    "area_b": "areas",
    "replaces": "cards",
}
"""Which table a field refers to; a longer name is read by its last words (stored_job_id)."""


def parent_of(kind: type[Record], field: str) -> str | None:
    """Table whose first row's id the field holds, None when it holds no id.

    The shop and its first manager name each other, so the shop's author is left out: of two
    tables that refer to each other one must come first.
    """
    if field in ("corrects", "parent_id"):
        return kind.table
    if kind.table == "shops" and field in ("author_id", "shop_id"):
        return None
    for name, table in _PARENTS.items():
        if field == name or field.endswith(f"_{name}"):
            return table
    if field.endswith("_id"):
        raise TypeError(f"{kind.__name__}.{field} names no table; add it to the parents")
    return None


def _classes(*modules: ModuleType) -> list[type[Record]]:
    # Record.__subclasses__() would also give the classes that slots=True left behind.
    return [
        value
        for module in modules
        for value in vars(module).values()
        if isinstance(value, type)
        and issubclass(value, Record)
        and value.__module__ == module.__name__
    ]


def _parents_first(kinds: list[type[Record]]) -> tuple[type[Record], ...]:
    ordered: dict[str, type[Record]] = {}
    waiting = {kind.table: kind for kind in kinds}
    while waiting:
        ready = [
            kind
            for table, kind in waiting.items()
            if all(
                parent is None or parent == table or parent in ordered
                for parent in (parent_of(kind, name) for name in codec_of(kind).names)
            )
        ]
        if not ready:
            raise TypeError(f"these tables refer to each other in a ring: {sorted(waiting)}")
        for kind in ready:
            ordered[kind.table] = waiting.pop(kind.table)
    return tuple(ordered.values())


RECORDS: tuple[type[Record], ...] = _parents_first(_classes(shop, job, spraying, cards, measuring))
"""Every class of record, each after those it refers to."""

RANK: dict[str, int] = {kind.table: number for number, kind in enumerate(RECORDS)}
CODECS: dict[str, Codec[Record]] = {kind.table: codec_of(kind) for kind in RECORDS}
LINE_CODECS: dict[str, Codec[Line]] = {kind.table: codec_of(kind) for kind in LINES}
JOB_TABLES: tuple[str, ...] = tuple(k.table for k in RECORDS if issubclass(k, JobRecord))

PLACE = ("position", "ordinal")
"""Storage columns of a record's table: its entry in the chain, and its row in the entry."""


def chain_of(record: Record) -> str:
    """The chain a record stands in: its job's, else the shop's."""
    return record.job_id if isinstance(record, JobRecord) else record.shop_id
