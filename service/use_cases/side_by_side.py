"""Cards laid side by side: how far apart they look, and in which direction, pair by pair.

For choosing among cards before a job (which of these blacks is bluer?), and for a first look at
a card beside the car's reading. It is no judgement: nothing is recorded, no risk is spent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.domain.card_code import grouped
from service.domain.lines import CardLine
from service.domain.refused import Invalid

Lab = tuple[float, float, float]
MOST_CARDS = 24

NEVER_READ = "never read"


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """One of the cards, with how it lies among those read alike.

    ``extremes`` names in what it goes furthest of all: lightest, deepest, reddest, greenest,
    yellowest, bluest; ``deepest`` is the darkest.
    """

    code: str
    line: CardLine
    extremes: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """How the second card of a pair looks beside the first.

    ``delta_e_2000`` is None, and ``why`` says why, when the two cannot be compared; ``words``
    says how the second lies beside the first.
    """

    first: str
    second: str
    delta_e_2000: float | None
    words: str
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class SideBySide:
    """Cards in the order they were named, and every pair of them."""

    cards: tuple[Laid, ...]
    pairs: tuple[Pair, ...]


def lay_side_by_side(lines: Sequence[CardLine]) -> SideBySide:
    """Compare the newest readings of cards, each with each.

    Raises
    ------
    Invalid
        When there are fewer than two cards, or more than can be laid out.
    """
    if not 2 <= len(lines) <= MOST_CARDS:
        raise Invalid(
            "codes", f"{len(lines)} cards were named. Name from 2 to {MOST_CARDS} of them."
        )
    extremes = _extremes(lines)
    return SideBySide(
        cards=tuple(
            Laid(code=line.code, line=line, extremes=tuple(extremes.get(line.id, ())))
            for line in lines
        ),
        pairs=tuple(_pair(one, other) for i, one in enumerate(lines) for other in lines[i + 1 :]),
    )


def _pair(one: CardLine, other: CardLine) -> Pair:
    first, second = lab_of(one), lab_of(other)
    if first is None or second is None:
        unread = grouped(one.code if first is None else other.code)
        why = f"{unread} was {NEVER_READ}. Read it first."
        return Pair(first=one.code, second=other.code, delta_e_2000=None, words="", why=why)
    if _alike(one) != _alike(other):
        why = (
            f"{grouped(one.code)} was read as {_shown(one)}, {grouped(other.code)} as "
            f"{_shown(other)}. Read both alike."
        )
        return Pair(first=one.code, second=other.code, delta_e_2000=None, words="", why=why)
    from colour.difference import delta_e_2000
    from colour.words import words

    return Pair(
        first=one.code,
        second=other.code,
        delta_e_2000=float(delta_e_2000(first, second)),
        words=words(first, second),
    )


def _extremes(lines: Sequence[CardLine]) -> dict[str, list[str]]:
    """By card, in what it goes furthest among at least two that were read alike."""
    groups: dict[tuple[str, int | None], list[tuple[str, Lab]]] = {}
    for line in lines:
        lab = lab_of(line)
        if lab is not None:
            groups.setdefault(_alike(line), []).append((line.id, lab))
    found: dict[str, list[str]] = {}
    for group in groups.values():
        if len(group) < 2:
            continue
        for axis, (most, least) in enumerate(
            (("lightest", "deepest"), ("reddest", "greenest"), ("yellowest", "bluest"))
        ):
            values = [lab[axis] for _, lab in group]
            for word, value in ((most, max(values)), (least, min(values))):
                holders = [id for id, lab in group if lab[axis] == value]
                if len(holders) == 1:
                    found.setdefault(holders[0], []).append(word)
    return found


def lab_of(line: CardLine) -> Lab | None:
    """The colour of a card's newest reading, None when it was never read."""
    if line.l is None or line.a is None or line.b is None:
        return None
    return (line.l, line.a, line.b)


def _alike(line: CardLine) -> tuple[str, int | None]:
    return (line.conditions, line.angle)


def _shown(line: CardLine) -> str:
    angle = "" if line.angle is None else f" at {line.angle}°"
    return f"{line.conditions}{angle}"
