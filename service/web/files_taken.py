"""Readings files on the web side: their bound, the one thread they are read in, their plans.

They are read in this process: the reader is plain Python over bounded bytes (no picture decoder,
an XML parser without entities), so a worker process would only add a second copy of what it
found, and the time to hand it over. What is bounded is how much of the machine they may have: one
file at a time, in a thread that serves no pages, and half of what the command line takes.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from functools import partial
from typing import Any, TypeVar

import anyio.to_thread
from anyio import CapacityLimiter

from service.domain.refused import Refused
from service.use_cases.import_plan import plan_import
from service.use_cases.importing import ImportPlan, Stated
from service.web.context import PageContext

T = TypeVar("T")

MOST_BYTES = 10 * 2**20
MOST_WAITING = 8
"""Files that wait for the one being read; each may hold its bytes in memory."""

_reading_thread = CapacityLimiter(1)


class FilesBusy(Refused):
    """More readings files than may wait."""

    def __init__(self) -> None:
        super().__init__(
            f"{MOST_WAITING} readings files wait to be read already. "
            "Send this one again in a minute."
        )


async def in_reading_thread(work: Callable[..., T], *arguments: Any) -> T:
    """Run what reads a file in a thread of its own, after those that came before.

    Who waits holds no thread, so pages go on being served.

    Raises
    ------
    FilesBusy
        When as many wait already as may.
    """
    if _reading_thread.statistics().tasks_waiting >= MOST_WAITING:
        raise FilesBusy
    return await anyio.to_thread.run_sync(partial(work, *arguments), limiter=_reading_thread)


def plan_of(
    here: PageContext,
    content: bytes,
    stated: Stated,
    *,
    source: str,
    card: str | None = None,
    fill_gaps: bool = False,
    leave_out_unknown: bool = False,
    read_at: datetime | None = None,
) -> ImportPlan:
    """What importing these bytes would store."""
    return plan_import(
        here.services.read_readings(content),
        stated,
        store=here.store,
        place_of_code=here.place_of_code,
        source=source,
        card=card,
        fill_gaps=fill_gaps,
        leave_out_unknown=leave_out_unknown,
        read_at=read_at,
    )


def file_name(given: str) -> str:
    """A file's name as it is kept with its readings: no folders, nothing that cannot be shown."""
    last = given.replace("\\", "/").rpartition("/")[2]
    return "".join(sign for sign in last if sign.isprintable()).strip()[:120]
