"""The list of jobs, with how many of their batches and joints stand how."""

from __future__ import annotations

from collections.abc import Sequence

from service.domain.lines import JobLine
from service.storage.queries.scan import (
    JOBS,
    JOINTS_OF_JOB,
    OF_JOB,
    along,
    in_order,
    page,
    rare,
)
from service.storage.queries.statement import Conditions, Key, check_limit, one_of
from service.storage.sql import Sql
from service.use_cases.queries import JobSummary, Page


def jobs(
    sql: Sql, shop_id: str, text: str, open_only: bool, after: str | None, limit: int
) -> Page[JobSummary]:
    """One page of the jobs that fit, the newest first."""
    check_limit(limit)
    key = Key.from_text(after)
    conditions = Conditions(shop_id)
    conditions.words(text)
    if open_only:
        conditions.add("released_at IS NULL")
        lines = in_order(sql, JOBS, conditions, key, limit + 1, "ix_job_lines_open")
    elif text.split():
        lines = rare(sql, JOBS, conditions, Conditions(shop_id), key, limit + 1)
    else:
        lines = in_order(sql, JOBS, conditions, key, limit + 1)
    found = page(JOBS, lines, limit)
    return Page(lines=_summaries(sql, shop_id, found.lines), after=found.after)


def _summaries(sql: Sql, shop_id: str, lines: Sequence[JobLine]) -> tuple[JobSummary, ...]:
    """The lines with the counts of these jobs alone."""
    if not lines:
        return ()
    ids, values = one_of([line.id for line in lines])
    batches = {
        row[0]: row[1:]
        for row in sql.rows(
            "SELECT job_id, COUNT(*), COUNT(*) FILTER (WHERE word = 'shows'), "
            "COUNT(*) FILTER (WHERE word = 'cannot_tell'), "
            "COUNT(*) FILTER (WHERE word = 'not_comparable'), "
            "COUNT(*) FILTER (WHERE word = 'blends'), COUNT(*) FILTER (WHERE gap <> '') "
            f"FROM {along(sql, 'batch_lines', OF_JOB)} "
            f"WHERE shop_id = ? AND job_id IN {ids} GROUP BY job_id",
            [shop_id, *values],
        )
    }
    joints = {
        row[0]: row[1:]
        for row in sql.rows(
            "SELECT job_id, COUNT(*), COUNT(*) FILTER (WHERE word = 'blends'), "
            "COUNT(*) FILTER (WHERE word = 'shows') "
            f"FROM {along(sql, 'joint_lines', JOINTS_OF_JOB)} "
            f"WHERE shop_id = ? AND job_id IN {ids} GROUP BY job_id",
            [shop_id, *values],
        )
    }
    return tuple(
        _summary(line, batches.get(line.id, (0,) * 6), joints.get(line.id, (0,) * 3))
        for line in lines
    )


def _summary(line: JobLine, batches: Sequence[int], joints: Sequence[int]) -> JobSummary:
    count, shows, cannot_tell, not_comparable, blends, gaps = batches
    return JobSummary(
        line=line,
        batches=count,
        shows=shows,
        cannot_tell=cannot_tell,
        not_comparable=not_comparable,
        blends=blends,
        gaps=gaps,
        joints=joints[0],
        joints_blend=joints[1],
        joints_show=joints[2],
    )
