"""Lines: what lists and searches over many jobs need of a card, batch, joint or job.

A line is a function of the job's file alone. It is kept beside the records so that a search
over a hundred thousand cards reads one table; ``verify`` works every line out again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One row of a list; ``id`` is the id of the thing it stands for."""

    table: ClassVar[str]

    id: str
    shop_id: str
    job_id: str


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLine(Line):
    """A job in the list of jobs; times are ISO 8601 in UTC."""

    table: ClassVar[str] = "job_lines"

    work_order: str
    title: str
    opened_at: str
    released_at: str | None
    repairs_job_id: str | None
    search: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CardLine(Line):
    """A card in the rack: where it hangs, what it shows, how it was read last.

    ``l, a, b`` is the mean of its newest reading (at ``angle``), ``standard_uncertainty`` that
    of the mean, per channel, in CIELAB units, None when it cannot be known. ``read_at`` is when
    it was read last, by an instrument if ever one read it; ``moved_by`` the largest CIEDE2000
    between its first reading and its newest of another age, None when there is none.
    ``held_back`` is why it leaves the rack only by a manager (``master``, ``last``), else empty.
    """

    table: ClassVar[str] = "card_lines"

    finish_id: str
    batch_id: str
    code: str
    kind: str
    slot: str
    sprayed_at: str
    painter_id: str
    batch_number: int
    work_order: str
    job_title: str
    finish_name: str
    finish_kind: str
    colour_code: str
    colour_name: str
    panels: str
    whereabouts: str
    holder_id: str | None
    is_master: bool
    stage: str | None
    conditions: str
    angle: int | None
    l: float | None  # noqa: E741  the standard's own name
    a: float | None
    b: float | None
    standard_uncertainty: float | None
    word: str | None
    delta_e_2000: float | None
    search: str
    read_at: str | None
    moved_by: float | None
    held_back: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchLine(Line):
    """A batch in spray order, with how it stands to the master.

    ``gap`` names what is missing before it can be judged (``no_card``, ``no_reading``,
    ``no_master``, ``no_verdict``), empty when it has a verdict.
    """

    table: ClassVar[str] = "batch_lines"

    finish_id: str
    number: int
    role: str
    product: str
    lots: str
    painter_id: str
    booth: str
    gun: str
    sprayed_at: str
    month: str
    gap: str
    verdict_id: str | None
    word: str | None
    stage: str | None
    delta_e_2000: float | None
    limit_value: float | None
    delta_l: float | None
    delta_a: float | None
    delta_b: float | None
    accepted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class JointLine(Line):
    """A joint, with how its two sides stand to each other; ``gap`` as for a batch.

    Further gaps of a joint: ``no_side`` (no card stands for a side), ``one_stack`` (the same
    batches, or one card, stand for both sides, so there is nothing to judge), ``two_finishes``
    (the sides are meant to differ).
    """

    table: ClassVar[str] = "joint_lines"

    kind: str
    gap: str
    verdict_id: str | None
    word: str | None
    delta_e_2000: float | None
    limit_value: float | None
    accepted: bool


LINES: tuple[type[Line], ...] = (JobLine, CardLine, BatchLine, JointLine)
