"""Cards laid side by side at every angle they share; no judgement, as at one angle."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from service.domain.flop import Flop, flop_of, flop_words
from service.domain.lines import CardLine
from service.domain.lookups import readings_of_card, standing_reading
from service.domain.nearness import AtAngle, at_angles, doubts_of_differences
from service.domain.records.measuring import Lab, Reading
from service.use_cases.ports import Store


@dataclass(frozen=True, slots=True, kw_only=True)
class AngleApart:
    """How the second card of a pair lies beside the first at one angle.

    ``doubt`` is the standard uncertainty of the difference, None where the noise of a reading is
    not known; ``words`` are empty where nothing stands out.
    """

    angle: int
    difference: Lab
    delta_e_2000: float
    doubt: float | None
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PairAtAngles:
    """Two cards at every angle both were read at, in ascending order; one at least.

    ``flop`` says how the second travels beside the first, empty where nothing stands out.
    ``only_first`` and ``only_second`` are angles at which one of them alone was read.
    """

    first: str
    second: str
    angles: tuple[AngleApart, ...]
    flop: str
    only_first: tuple[int, ...]
    only_second: tuple[int, ...]

    @property
    def worst(self) -> AngleApart:
        """The angle at which they differ most."""
        return max(self.angles, key=lambda one: one.delta_e_2000)


@dataclass(frozen=True, slots=True, kw_only=True)
class AtAngles:
    """The pairs that were read alike at some angle, and each card's flop index where it has one."""

    pairs: tuple[PairAtAngles, ...] = ()
    flops: Mapping[str, Flop] | None = None

    def pair(self, one: str, other: str) -> PairAtAngles | None:
        """The pair of two codes, whichever comes first."""
        wanted = {one, other}
        return next((pair for pair in self.pairs if {pair.first, pair.second} == wanted), None)


def lay_at_angles(store: Store, lines: Sequence[CardLine]) -> AtAngles:
    """Compare cards that were read at angles, each with each; by the readings lists show."""
    readings = {line.code: _standing(store, line) for line in lines if line.angle is not None}
    known = [(line, reading) for line in lines if (reading := readings.get(line.code)) is not None]
    if len(known) < 2:
        return AtAngles()
    pairs = (
        _pair(one, of_one, other, of_other)
        for i, (one, of_one) in enumerate(known)
        for other, of_other in known[i + 1 :]
        if one.conditions == other.conditions
    )
    flops = {line.code: flop for line, reading in known if (flop := flop_of(reading)) is not None}
    return AtAngles(pairs=tuple(pair for pair in pairs if pair is not None), flops=flops)


def _standing(store: Store, line: CardLine) -> Reading | None:
    return standing_reading(readings_of_card(store.job(line.job_id), line.id))


def _pair(
    one: CardLine, of_one: Reading, other: CardLine, of_other: Reading
) -> PairAtAngles | None:
    here, there = _by_angle(of_one), _by_angle(of_other)
    shared = sorted(here.keys() & there.keys())
    if not shared:
        return None
    return PairAtAngles(
        first=one.code,
        second=other.code,
        angles=tuple(_apart(here, there, shared)),
        flop=flop_words(of_one, of_other),
        only_first=tuple(sorted(here.keys() - there.keys())),
        only_second=tuple(sorted(there.keys() - here.keys())),
    )


def _by_angle(reading: Reading) -> dict[int, AtAngle]:
    return {one.angle: one for one in at_angles(reading) if one.angle is not None}


def _apart(
    here: Mapping[int, AtAngle], there: Mapping[int, AtAngle], shared: Sequence[int]
) -> Iterable[AngleApart]:
    from colour.difference import delta_e_2000
    from colour.words import directions, words

    both = [(here[angle], there[angle]) for angle in shared]
    doubts = doubts_of_differences(
        [(x.lab, x.standard_uncertainty, y.lab, y.standard_uncertainty) for x, y in both]
    )
    for angle, (x, y), doubt in zip(shared, both, doubts, strict=True):
        l, a, b = (v - u for u, v in zip(x.lab, y.lab, strict=True))  # noqa: E741
        yield AngleApart(
            angle=angle,
            difference=(l, a, b),
            delta_e_2000=float(delta_e_2000(x.lab, y.lab)),
            doubt=doubt,
            words=words(x.lab, y.lab) if directions(x.lab, y.lab) else "",
        )
