"""The clocks of a job as the bench shows them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

from service.domain.clocks import ClockKind, running_clocks
from service.domain.lookups import the_job
from service.domain.record_file import RecordFile
from service.web.context import PageContext


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockShown:
    """One clock: what it is of, the minutes left, and what may be done when it has ended.

    ``job`` names the work order where clocks of several jobs stand together.
    """

    what: str
    ends: datetime
    left: float
    over: bool
    origin: str
    then: str
    job: str = ""
    href: str = ""


def clocks_of(here: PageContext, file: RecordFile, name_job: bool = False) -> list[ClockShown]:
    """The clocks of a job, next to end first."""
    now, job = datetime.now(UTC), the_job(file)
    return [
        ClockShown(
            what=clock.what,
            ends=clock.ends,
            left=max(0.0, (clock.ends - now).total_seconds() / 60),
            over=clock.ends <= now,
            origin=clock.origin,
            then=clock.then,
            job=job.work_order if name_job else "",
            href=here.link("job", job_id=file.chain) if name_job else "",
        )
        for clock in running_clocks(file, here.store.shop(), now)
        # What takes weeks is no clock to watch at the bench of several jobs.
        if not (name_job and clock.kind is ClockKind.WAX_WAIT)
    ]


def clocks_of_jobs(here: PageContext, job_ids: Iterable[str]) -> tuple[ClockShown, ...]:
    """The clocks of several jobs together, next to end first."""
    found = [
        clock
        for job_id in dict.fromkeys(job_ids)
        for clock in clocks_of(here, here.store.job(job_id), name_job=True)
    ]
    return tuple(sorted(found, key=lambda clock: clock.ends))
