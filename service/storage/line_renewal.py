"""Working the lines of lists out again, for columns that came after the lines."""

from __future__ import annotations

from service.domain.line_making import all_lines
from service.storage.journal import read_file
from service.storage.lines import put_lines
from service.storage.sql import Sql


def renew_lines(sql: Sql) -> int:
    """Work out every job's lines from its journal, and write those that changed; how many jobs."""
    jobs = sql.rows("SELECT DISTINCT shop_id, job_id FROM card_lines ORDER BY shop_id, job_id")
    for shop_id, job_id in jobs:
        known = read_file(sql, str(shop_id), str(job_id), None)
        if known is not None:
            put_lines(sql, all_lines(known.file))
    return len(jobs)
