"""Lists of batches and of joints."""

from __future__ import annotations

from dataclasses import replace

from service.domain.lines import BatchLine, JointLine
from service.domain.refused import Invalid
from service.domain.terms import Word
from service.storage.queries.scan import (
    BATCHES,
    JOINTS_OF_JOB,
    OF_JOB,
    along,
    in_order,
    page,
    rare,
)
from service.storage.queries.statement import (
    Conditions,
    Key,
    check_limit,
    columns_of,
    lines_from,
)
from service.storage.sql import Sql
from service.use_cases.queries import BatchFilter, Page

GAPS = ("no_card", "no_reading", "no_master", "no_verdict")


def conditions_of(shop_id: str, filter: BatchFilter) -> Conditions:
    """The filter as conditions on ``batch_lines``."""
    for field, known in (("word", tuple(Word)), ("gap", GAPS)):
        value = getattr(filter, field)
        if value and value not in known:
            raise Invalid(field, f"{value!r} is no {field} of a batch. Use {', '.join(known)}.")
    conditions = Conditions(shop_id)
    conditions.equal(job_id=filter.job_id, painter_id=filter.painter_id)
    conditions.of_finish(filter.finish_id)
    conditions.equal(booth=filter.booth, gun=filter.gun, word=filter.word)
    if filter.gap:
        # Word for word the condition of the partial index.
        conditions.add("gap <> ''")
        conditions.equal(gap=filter.gap)
    conditions.element("product", filter.product)
    conditions.element("lots", filter.lot)
    conditions.sprayed(filter.sprayed_from, filter.sprayed_to)
    return conditions


def index_of(filter: BatchFilter) -> str | None:
    """The index that leads to few batches; None when only reading them all will do."""
    if filter.job_id or filter.finish_id:
        return OF_JOB
    return "ix_batch_lines_gap" if filter.gap else None


def batches(
    sql: Sql, shop_id: str, filter: BatchFilter, after: str | None, limit: int
) -> Page[BatchLine]:
    """One page of the batches that fit, the newest first."""
    check_limit(limit)
    key = Key.from_text(after)
    conditions = conditions_of(shop_id, filter)
    index = index_of(filter)
    if index is None and replace(filter, sprayed_from="", sprayed_to="") != BatchFilter():
        period = Conditions(shop_id)
        period.sprayed(filter.sprayed_from, filter.sprayed_to)
        lines = rare(sql, BATCHES, conditions, period, key, limit + 1)
    else:
        lines = in_order(sql, BATCHES, conditions, key, limit + 1, index)
    return page(BATCHES, lines, limit)


def batches_of_finish(sql: Sql, shop_id: str, finish_id: str) -> tuple[BatchLine, ...]:
    """All batches of a finish, the oldest first."""
    conditions = Conditions(shop_id)
    conditions.of_finish(finish_id)
    if conditions.impossible or not finish_id:
        return ()
    rows = sql.rows(
        f"SELECT {columns_of(BatchLine)} FROM {along(sql, 'batch_lines', OF_JOB)} "
        f"WHERE {conditions.sql} ORDER BY sprayed_at, id",
        conditions.values,
    )
    return tuple(lines_from(sql, BatchLine, rows))


def joints_of_job(sql: Sql, shop_id: str, job_id: str) -> tuple[JointLine, ...]:
    """The joints of a job, in order of their ids."""
    conditions = Conditions(shop_id)
    conditions.add("job_id = ?", job_id)
    if conditions.impossible:
        return ()
    rows = sql.rows(
        f"SELECT {columns_of(JointLine)} FROM {along(sql, 'joint_lines', JOINTS_OF_JOB)} "
        f"WHERE {conditions.sql} ORDER BY id",
        conditions.values,
    )
    return tuple(lines_from(sql, JointLine, rows))
