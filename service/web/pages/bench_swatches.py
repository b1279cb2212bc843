"""The colour of a card as a screen can show it, for swatches."""

from __future__ import annotations

from dataclasses import dataclass

from service.domain.lookups import mean_lab, readings_of_card, shown_angle
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card
from service.domain.records.measuring import Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class SwatchShown:
    """A colour ready for the screen; ``out`` when the screen cannot show it."""

    colour: str
    out: bool


def swatch_of_card(file: RecordFile, card: Card) -> SwatchShown | None:
    """The colour a card was last read at; None when it was not read, or cannot be shown."""
    readings = readings_of_card(file, card.root)
    return swatch_of_reading(readings[-1]) if readings else None


def swatch_of_reading(reading: Reading, angle: int | None = None) -> SwatchShown | None:
    """A reading's colour at an angle, else at the one lists show; None when it cannot be shown."""
    # It brings colormath along, which takes longer than a page may.
    from colour.screen import can_show, screen_colour

    if not can_show(reading.illuminant, reading.observer):
        return None
    found = next((a for a in reading.angles if a.angle == angle), shown_angle(reading))
    shown = screen_colour(mean_lab(found), illuminant=reading.illuminant, observer=reading.observer)
    return SwatchShown(colour=shown.hex, out=not shown.in_gamut)
