"""Which product, lot, booth, gun or painter goes with batches that lie away from their master."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from service.domain.lines import BatchLine
from service.domain.record_file import RecordFile
from service.domain.records.measuring import Lab
from service.domain.terms import Word
from service.web.pages.bench_views import person_name

MOST_GROUPS = 5

FACTORS = (
    ("product", "Product"),
    ("lot", "Lot"),
    ("booth", "Booth"),
    ("gun", "Gun"),
    ("painter_id", "Painter"),
)
"""By the names of the filters they become."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """A judged batch: its line, its word, and how its Lab lies from its master's."""

    line: BatchLine
    word: str
    delta: Lab | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """The batches that share one value of a factor; deltas are means, in CIELAB units."""

    value: str
    name: str
    href: str
    judged: int
    shows: int
    delta: Lab | None
    batch_ids: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """What batches have in common, with the value first that shows most."""

    name: str
    groups: tuple[Group, ...]
    left: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MostShown:
    """The value with the most that shows, and what else exactly its batches have in common:
    these readings cannot tell which of them it is."""

    factor: str
    group: Group
    alike: tuple[str, ...]


def deviations_of(lines: Iterable[BatchLine]) -> list[Deviation]:
    """The judged batches among these lines, each at the angle that decided."""
    return [
        Deviation(line=line, word=line.word, delta=delta_of(line))
        for line in lines
        if line.word is not None
    ]


def delta_of(line: BatchLine) -> Lab | None:
    """How a batch lies from its master in Lab; None when nothing could be said."""
    if line.delta_l is None or line.delta_a is None or line.delta_b is None:
        return None
    return (line.delta_l, line.delta_a, line.delta_b)


def factors_of(
    found: Sequence[Deviation], shop: RecordFile, href: Callable[[str, str], str]
) -> tuple[Factor, ...]:
    """The factors of which the batches have more than one value; ``href`` narrows to a value.

    A value that all of them have sets none apart, so it is left out.
    """
    every = frozenset(one.line.id for one in found)
    factors = []
    for field, name in FACTORS:
        groups: dict[str, list[Deviation]] = {}
        for one in found:
            for value in values_of(one.line, field):
                groups.setdefault(value, []).append(one)
        listed = (
            _group(value, of, _name(shop, field, value), href(field, value))
            for value, of in groups.items()
        )
        shown = sorted(
            (group for group in listed if group.batch_ids != every), key=_most_shows_first
        )
        if not shown:
            continue
        factors.append(
            Factor(
                name=name,
                groups=tuple(shown[:MOST_GROUPS]),
                left=max(0, len(shown) - MOST_GROUPS),
            )
        )
    return tuple(factors)


def most_that_shows(factors: Iterable[Factor]) -> MostShown | None:
    """The value with the most that shows, of two judged batches at least."""
    candidates = [(factor.name, group) for factor in factors for group in factor.groups]
    shown = [one for one in candidates if one[1].shows and one[1].judged > 1]
    if not shown:
        return None
    factor, group = min(shown, key=lambda one: _most_shows_first(one[1])[:2])
    return MostShown(
        factor=factor,
        group=group,
        alike=tuple(
            f"{name.lower()} {other.name}"
            for name, other in candidates
            if other is not group and other.batch_ids == group.batch_ids
        ),
    )


def values_of(line: BatchLine, field: str) -> list[str]:
    """The values a batch has of a factor; of products and lots there may be several."""
    held = str(getattr(line, "lots" if field == "lot" else field))
    several = field in ("product", "lot")
    return [value for value in (held.split(", ") if several else [held]) if value]


def mean_delta(found: Iterable[Deviation]) -> Lab | None:
    """The mean deviation of those that have one."""
    deltas = [one.delta for one in found if one.delta is not None]
    if not deltas:
        return None
    l, a, b = (math.fsum(axis) / len(deltas) for axis in zip(*deltas, strict=True))  # noqa: E741
    return (l, a, b)


def _name(shop: RecordFile, field: str, value: str) -> str:
    return person_name(shop, value) if field == "painter_id" else value


def _group(value: str, found: Sequence[Deviation], name: str, href: str) -> Group:
    return Group(
        value=value,
        name=name,
        href=href,
        judged=len(found),
        shows=sum(one.word == Word.SHOWS for one in found),
        delta=mean_delta(found),
        batch_ids=frozenset(one.line.id for one in found),
    )


def _most_shows_first(group: Group) -> tuple[float, float, str]:
    away = math.hypot(*group.delta) if group.delta is not None else 0.0
    # One more below the line: a single batch that shows says less than four of five.
    return -group.shows / (group.judged + 1), -away, group.name
