"""A reading together with what is known of the surface that was read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from service.domain.lookups import readings_of_card
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.job import Finish
from service.domain.records.measuring import Reading
from service.domain.records.spraying import Bake, Coat
from service.domain.terms import CoatRole, HidingMark, Stage


@dataclass(frozen=True, slots=True)
class Specimen:
    """A reading together with what is known of the surface that was read.

    ``of_card`` is every reading of the same card that counts, the reading among them.
    """

    name: str
    reading: Reading
    coats: tuple[Coat, ...]
    bakes: tuple[Bake, ...]
    ground_shade: str
    hiding_mark: HidingMark
    is_car: bool = False
    of_card: tuple[Reading, ...] = ()

    @property
    def baked(self) -> bool:
        """Whether it was baked before it was read: by the bakes logged, or as it was read."""
        return self.reading.stage is Stage.BAKED or any(
            bake.observed_at <= self.reading.observed_at for bake in self.bakes
        )

    @property
    def last_bake_end(self) -> datetime | None:
        """End of the last bake before the reading."""
        ends = [b.observed_at for b in self.bakes if b.observed_at <= self.reading.observed_at]
        return max(ends, default=None)

    def coat_counts(self) -> dict[CoatRole, int]:
        """Number of colour coats of each role."""
        counts: dict[CoatRole, int] = {}
        for coat in self.coats:
            if coat.role.gives_colour:
                counts[coat.role] = counts.get(coat.role, 0) + 1
        return counts

    def hides(self, finish: Finish) -> bool | None:
        """Whether its colour coats hide what lies under them; None when nobody can say."""
        if self.hiding_mark is HidingMark.SHOWS_THROUGH:
            return False
        seen = [c.hides for c in self.coats if c.role.gives_colour and c.hides is not None]
        if self.hiding_mark is HidingMark.COVERED or (seen and seen[-1]):
            return True
        if finish.coats_to_hide is not None:
            return self.coat_counts().get(CoatRole.BASE, 0) >= finish.coats_to_hide
        return False if seen else None


def specimen_of_card(file: RecordFile, card: Card, reading: Reading, name: str) -> Specimen:
    """What is known of a card's surface when it was read."""
    return Specimen(
        name,
        reading,
        tuple(file.by(Coat, "card_id", card.root)),
        tuple(file.by(Bake, "card_id", card.root)),
        card.ground_shade,
        card.hiding_mark,
        of_card=tuple(readings_of_card(file, card.root)),
    )
