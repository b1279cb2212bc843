"""The colour of a card as a screen can show it, for swatches."""

from __future__ import annotations

from dataclasses import dataclass

from service.domain.record_file import RecordFile
from service.domain.records.cards import Card


@dataclass(frozen=True, slots=True, kw_only=True)
class SwatchShown:
    """A colour ready for the screen; ``out`` when the screen cannot show it."""

    colour: str
    out: bool


def swatch_of_card(file: RecordFile, card: Card) -> SwatchShown | None:
    return None


def swatch_of_reading(reading: object, angle: int | None) -> SwatchShown | None:
    return None
