"""What photographs tell of two cards: the difference between windows of one frame.

A photograph compares. The difference of two cards that lie in it has a small error of its own,
for most of what is wrong with the picture is wrong with both; one card alone has a large one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from service.domain.lookups import mean_lab
from service.domain.pooling import difference_covariance, same_age
from service.domain.record_file import RecordFile
from service.domain.records.measuring import Frame, Lab, Matrix, Reading
from service.domain.terms import Method, Stage

ONE_FRAME, REPEATED, SWAPPED, THROUGH_MASTER = (
    "one_frame",
    "repeated",
    "swapped",
    "through_master",
)

SAID: Mapping[str, str] = {
    ONE_FRAME: "Both cards lie in one photograph, so the difference is that photograph's own.",
    REPEATED: (
        "The cards lay in the same places in every photograph. Their differences are averaged, "
        "but such photographs err alike, so together they count as no surer than one."
    ),
    SWAPPED: (
        "The two cards changed places between photographs. Their differences are averaged, and "
        "what a slope of the light added to one it takes from the other."
    ),
    THROUGH_MASTER: (
        "No photograph holds both cards, but each lies in one with the master's card. The two "
        "differences from the master are subtracted and their covariances added."
    ),
}

NEXT: Mapping[str, str] = {
    ONE_FRAME: (
        "Swap the two cards on the sheet and photograph them again: the two photographs together "
        "are surer than one. Or read both with an instrument."
    ),
    REPEATED: (
        "Swap the two cards on the sheet and photograph them again; another photograph of the same "
        "places adds little. Or read both with an instrument."
    ),
    SWAPPED: "More photographs will hardly settle this. Read both cards with an instrument.",
    THROUGH_MASTER: "Photograph the two cards in one frame, or read both with an instrument.",
}
"""What settles a difference that photographs cannot tell."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two cards of one frame: readings ``a`` and ``b``, b less a, and its covariance."""

    frame: Frame
    a: Reading
    b: Reading
    difference: Lab
    covariance: Matrix

    @property
    def places(self) -> tuple[str, str, str]:
        """Where the two lay, on which sheet."""
        windows = (self.frame.window_of(self.a.root), self.frame.window_of(self.b.root))
        return self.frame.target, *windows

    @property
    def alike(self) -> tuple[object, ...]:
        """What pairs must have in common to tell of the same two surfaces."""
        return tuple(
            (r.card_id, r.zone_id, r.stage, r.illuminant, r.observer) for r in (self.a, self.b)
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Between:
    """A difference of two cards as photographs tell it; ``a`` and ``b`` are its newest readings.

    ``start`` is the colour it starts from. ``looks`` counts the photographs it took, each of
    which was another look at the same question.
    """

    how: str
    a: Reading
    b: Reading
    start: Lab
    difference: Lab
    covariance: Matrix
    pairs: tuple[Pair, ...]
    looks: int

    @property
    def reading_ids(self) -> tuple[str, ...]:
        """Every reading it rests on, those of side a first."""
        of_a = [pair.a.root for pair in self.pairs]
        of_b = [pair.b.root for pair in self.pairs]
        return tuple(dict.fromkeys((*of_a, *of_b)))

    @property
    def arrived(self) -> datetime:
        """When the newest of its photographs arrived."""
        return max(pair.frame.received_at for pair in self.pairs)

    @property
    def conditions(self) -> str:
        """What the difference holds under, in words."""
        frames = [pair.frame for pair in self.pairs]
        sheets = " and ".join(dict.fromkeys(frame.target or "its sheet" for frame in frames))
        return (
            f"It holds as {sheets} states its colours, for {self.a.illuminant} and the "
            f"{self.a.observer}° observer, in the light of the photograph; an instrument may say "
            "otherwise."
        )

    def as_evidence(self) -> dict[str, Any]:
        """The working, as plain data for a verdict's evidence."""
        return {
            "how": self.how,
            "said": SAID[self.how],
            "conditions": self.conditions,
            "frames": [
                {
                    "frame_id": pair.frame.root,
                    "photo_sha256": pair.frame.photo_sha256,
                    "places": list(pair.places),
                    "difference": list(pair.difference),
                    "covariance": [list(row) for row in pair.covariance],
                }
                for pair in self.pairs
            ],
        }


def pairs_of(file: RecordFile, a: Iterable[Reading], b: Iterable[Reading]) -> list[Pair]:
    """Every pair of readings of two cards that lie in one photograph, oldest first."""
    by_frame: dict[str, list[Reading]] = {}
    for reading in a:
        if reading.frame_id is not None and reading.method is Method.PHOTOGRAPH:
            by_frame.setdefault(reading.frame_id, []).append(reading)
    found = []
    for other in b:
        frame = file.find(Frame, other.frame_id)
        for reading in by_frame.get(other.frame_id or "", ()):
            covariance = difference_covariance(file, reading, other, None)
            if frame is None or covariance is None or reading.card_id == other.card_id:
                continue
            start, end = mean_lab(reading.angles[0]), mean_lab(other.angles[0])
            found.append(
                Pair(
                    frame=frame,
                    a=reading,
                    b=other,
                    difference=_less(end, start),
                    covariance=covariance,
                )
            )
    return sorted(found, key=lambda pair: pair.frame.received_at)


def together(pairs: Sequence[Pair], newest: Pair | None = None) -> Between | None:
    """What the photographs of two cards say together: those like the newest, or the one given.

    Only those of one age of the cards are taken together, as readings by an instrument are.
    Photographs with the cards in the same places share the slope of the light and the sheet's
    own errors, so however many there are, the mean of their covariances is what their mean is
    taken to have: no correlation whatever gives it more. When the cards changed places the
    slope's part changes sign, and the two means are taken as independent.
    """
    if not pairs:
        return None
    newest = newest or pairs[-1]
    like = [
        pair
        for pair in pairs
        if pair.alike == newest.alike and same_age(pair.frame.observed_at, newest.frame.observed_at)
    ]
    sheet, at_a, at_b = newest.places
    swapped = [pair for pair in like if pair.places == (sheet, at_b, at_a) and at_a != at_b]
    same = [pair for pair in like if pair not in swapped]
    difference, covariance = _mean_of(same)
    how = REPEATED if len(same) > 1 else ONE_FRAME
    if swapped:
        other, more = _mean_of(swapped)
        difference = _mean([difference, other])
        covariance = _scaled(_sum([covariance, more]), 0.25)
        how = SWAPPED
    return Between(
        how=how,
        a=newest.a,
        b=newest.b,
        start=_mean([mean_lab(pair.a.angles[0]) for pair in like]),
        difference=difference,
        covariance=covariance,
        pairs=tuple(like),
        looks=len(like),
    )


def first_of(pairs: Sequence[Pair]) -> list[Pair]:
    """The pairs of each two stages from their first period; see ``pooling.as_sprayed``."""
    first: dict[tuple[Stage, Stage], datetime] = {}
    for pair in pairs:
        at = first.get(_stages(pair), pair.frame.observed_at)
        first[_stages(pair)] = min(at, pair.frame.observed_at)
    return [pair for pair in pairs if same_age(pair.frame.observed_at, first[_stages(pair)])]


def _stages(pair: Pair) -> tuple[Stage, Stage]:
    return pair.a.stage, pair.b.stage


def through_master(
    file: RecordFile, master: Sequence[Reading], a: Sequence[Reading], b: Sequence[Reading]
) -> Between | None:
    """From card a to card b by what each differs from the master's card, in other photographs.

    The master must have been read at one stage and zone in both. Lab vectors are subtracted and
    covariances added, and one difference is taken of that.
    """
    to_a, to_b = first_of(pairs_of(file, master, a)), first_of(pairs_of(file, master, b))
    for one in reversed(to_a):
        for other in reversed(to_b):
            if one.frame.root == other.frame.root or one.alike[0] != other.alike[0]:
                continue
            first, second = together(to_a, one), together(to_b, other)
            assert first is not None and second is not None
            return Between(
                how=THROUGH_MASTER,
                a=first.b,
                b=second.b,
                start=_plus(first.start, first.difference),
                difference=_less(second.difference, first.difference),
                covariance=_sum([first.covariance, second.covariance]),
                pairs=(*first.pairs, *second.pairs),
                looks=first.looks + second.looks - 1,
            )
    return None


def stage_of(between: Between) -> Stage:
    """The stage both cards can be said to be at: the earlier of their two."""
    return min((between.a.stage, between.b.stage), key=lambda stage: stage.order)


def _mean_of(pairs: Sequence[Pair]) -> tuple[Lab, Matrix]:
    covariances = [pair.covariance for pair in pairs]
    return _mean([p.difference for p in pairs]), _scaled(_sum(covariances), 1 / len(pairs))


def _mean(labs: Sequence[Lab]) -> Lab:
    l, a, b = (sum(lab[i] for lab in labs) / len(labs) for i in range(3))  # noqa: E741
    return (l, a, b)


def _plus(one: Lab, other: Lab) -> Lab:
    return (one[0] + other[0], one[1] + other[1], one[2] + other[2])


def _less(one: Lab, other: Lab) -> Lab:
    return (one[0] - other[0], one[1] - other[1], one[2] - other[2])


def _sum(matrices: Sequence[Matrix]) -> Matrix:
    return tuple(tuple(sum(m[r][c] for m in matrices) for c in range(3)) for r in range(3))


def _scaled(matrix: Matrix, factor: float) -> Matrix:
    return tuple(tuple(value * factor for value in row) for row in matrix)
