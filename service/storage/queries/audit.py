"""How the batches of a shop hold together: counts of verdicts, and the finishes that drift."""

from __future__ import annotations

import math
from collections.abc import Sequence

from service.domain.terms import Word
from service.storage.queries.batches import conditions_of, index_of
from service.storage.queries.scan import (
    BATCHES,
    JOINTS_OF_JOB,
    OF_JOB,
    along,
    by_id,
)
from service.storage.queries.statement import Conditions, check_limit, one_of
from service.storage.sql import Row, Sql
from service.use_cases.queries import Audit, BatchFilter, FinishSpread, WordCounts

_COUNTED = (*(word.value for word in Word), "gap", "accepted")
_WORDS = ", ".join(f"COUNT(*) FILTER (WHERE word = '{word}') AS \"{word}\"" for word in Word)
_BATCHES = (
    f"{_WORDS}, COUNT(*) FILTER (WHERE gap <> '') AS gap, "
    "COUNT(*) FILTER (WHERE accepted) AS accepted"
)
# Where one stack lies on both sides, or two finishes meet, there is nothing to judge.
_JOINTS = (
    f"{_WORDS}, COUNT(*) FILTER (WHERE gap NOT IN ('', 'one_stack', 'two_finishes')), "
    "COUNT(*) FILTER (WHERE accepted)"
)
_TOTALS = ", ".join(f'CAST(COALESCE(SUM("{name}"), 0) AS BIGINT)' for name in _COUNTED)
_SUMS = ", ".join(
    f"COUNT({column}), SUM({column}), SUM({column} * {column})"
    for column in ("delta_l", "delta_a", "delta_b")
)
_OF_BATCHES, _OF_JOINTS, _OF_FINISH = 1, 2, 3


def audit(sql: Sql, shop_id: str, filter: BatchFilter, finishes: int) -> Audit:
    """Counts over all batches that fit, and the finishes with the most that shows.

    ``sql`` must see one moment, for the batches are read more than once.
    """
    check_limit(finishes)
    fitting = conditions_of(shop_id, filter)
    if fitting.impossible:
        return Audit(
            batches=WordCounts(), joints=WordCounts(), cards_out=0, cards_missing=0, finishes=()
        )
    # The batches are read once: what each finish counts gives the totals, the jobs whose joints
    # are counted, and the order of the finishes.
    rows = sql.rows(
        "WITH finish AS MATERIALIZED ("
        f"SELECT job_id, finish_id, {_BATCHES}, MAX(delta_e_2000) AS largest "
        f"FROM {along(sql, 'batch_lines', _index(filter))} WHERE {fitting.sql} "
        "GROUP BY job_id, finish_id) "
        f"SELECT {_OF_BATCHES}, '', '', {_TOTALS}, CAST(NULL AS DOUBLE PRECISION) FROM finish "
        f"UNION ALL SELECT {_OF_JOINTS}, '', '', {_JOINTS}, NULL "
        f"FROM {along(sql, 'joint_lines', JOINTS_OF_JOB)} "
        "WHERE shop_id = ? AND job_id IN (SELECT job_id FROM finish) "
        f"UNION ALL SELECT * FROM (SELECT {_OF_FINISH}, finish.* FROM finish "
        "ORDER BY shows DESC, COALESCE(largest, -1) DESC, finish_id LIMIT ?) AS worst",
        [*fitting.values, shop_id, finishes],
    )
    counts = {row[0]: WordCounts(**dict(zip(_COUNTED, row[3:-1], strict=True))) for row in rows}
    away = _cards_away(sql, shop_id, None if filter == BatchFilter() else fitting)
    shows = 3 + _COUNTED.index("shows")
    worst = sorted(
        (row for row in rows if row[0] == _OF_FINISH),
        key=lambda row: (-row[shows], 1.0 if row[-1] is None else -row[-1], row[2]),
    )
    return Audit(
        batches=counts[_OF_BATCHES],
        joints=counts[_OF_JOINTS],
        cards_out=away.get("out", 0),
        cards_missing=away.get("missing", 0),
        finishes=_spreads(sql, shop_id, fitting, [(row[1], row[2]) for row in worst]),
    )


def _index(filter: BatchFilter) -> str | None:
    """The index on SQLite; with no filter the job's, which holds all that is counted."""
    if filter == BatchFilter():
        return OF_JOB
    if filter.sprayed_from or filter.sprayed_to:
        return index_of(filter) or BATCHES.index
    return index_of(filter)


def _cards_away(sql: Sql, shop_id: str, fitting: Conditions | None) -> dict[str, int]:
    """Cards that are not in the rack, of the batches that fit; of all when None."""
    only, values = "", []
    if fitting is not None:
        only = (
            f" AND EXISTS (SELECT 1 FROM {by_id(sql, 'batch_lines')} "
            f"WHERE id = card.batch_id AND {fitting.sql})"
        )
        values = fitting.values
    cards = along(sql, "card_lines AS card", "ix_card_lines_away")
    rows = sql.rows(
        f"SELECT whereabouts, COUNT(*) FROM {cards} "
        f"WHERE shop_id = ? AND whereabouts <> 'in'{only} GROUP BY whereabouts",
        [shop_id, *values],
    )
    return {str(row[0]): row[1] for row in rows}


def _spreads(
    sql: Sql, shop_id: str, fitting: Conditions, worst: Sequence[tuple[str, str]]
) -> tuple[FinishSpread, ...]:
    """What each of these finishes shows, by its job's and its own id."""
    if not worst:
        return ()
    jobs, job_values = one_of([job_id for job_id, _ in worst])
    rows = sql.rows(
        "SELECT finish_id, COUNT(*), COUNT(word), COUNT(*) FILTER (WHERE word = 'shows'), "
        f"MAX(delta_e_2000), {_SUMS} FROM {along(sql, 'batch_lines', OF_JOB)} "
        f"WHERE {fitting.sql} AND job_id IN {jobs} GROUP BY finish_id",
        [*fitting.values, *job_values],
    )
    found = {row[0]: row[1:] for row in rows}
    orders = {
        str(id): str(work_order)
        for id, work_order in sql.rows(
            f"SELECT id, work_order FROM {by_id(sql, 'job_lines')} "
            f"WHERE shop_id = ? AND id IN {jobs}",
            [shop_id, *job_values],
        )
    }
    names = _finish_names(sql, shop_id, [finish_id for _, finish_id in worst])
    return tuple(
        _spread(
            job_id, finish_id, orders.get(job_id, ""), names.get(finish_id, ""), found[finish_id]
        )
        for job_id, finish_id in worst
    )


def _finish_names(sql: Sql, shop_id: str, finish_ids: Sequence[str]) -> dict[str, str]:
    """The names as the last correction left them."""
    ids, values = one_of(finish_ids)
    rows = sql.rows(
        f"SELECT id, revision, name FROM finishes WHERE shop_id = ? AND id IN {ids} UNION ALL "
        "SELECT corrects, revision, name FROM finishes "
        f"WHERE shop_id = ? AND corrects IN {ids} ORDER BY 2",
        [shop_id, *values, shop_id, *values],
    )
    return {str(id): str(name) for id, _, name in rows}


def _spread(job_id: str, finish_id: str, work_order: str, name: str, row: Row) -> FinishSpread:
    batches, judged, shows, largest, *sums = row
    (l, a, b) = (_mean_and_deviation(*sums[place : place + 3]) for place in (0, 3, 6))  # noqa: E741
    return FinishSpread(
        job_id=job_id,
        finish_id=finish_id,
        work_order=work_order,
        finish_name=name,
        batches=batches,
        judged=judged,
        shows=shows,
        largest=largest,
        mean_delta_l=l[0],
        mean_delta_a=a[0],
        mean_delta_b=b[0],
        sd_delta_l=l[1],
        sd_delta_a=a[1],
        sd_delta_b=b[1],
    )


def _mean_and_deviation(
    n: int, total: float | None, squares: float | None
) -> tuple[float | None, float | None]:
    """Mean and standard deviation (with n − 1) from the sums the database made.

    Taking one large number from another loses digits: a deviation s about a mean m keeps an
    error of about ε·m²/s. Deltas against a master are a few units and s a few tenths, which
    leaves fourteen digits; at m = 100 and s = 0.001 there are still three.
    """
    if not n or total is None or squares is None:
        return None, None
    mean = total / n
    if n < 2:
        return mean, None
    return mean, math.sqrt(max(squares - total * mean, 0.0) / (n - 1))
