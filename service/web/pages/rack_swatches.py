"""Colours read off cards and cars as a screen can show them."""

from __future__ import annotations

import re

from service.domain.lines import CardLine
from service.domain.records.measuring import Lab
from service.use_cases.side_by_side import lab_of
from service.web.pages.bench_swatches import SwatchShown


def swatch_of_lab(lab: Lab, illuminant: str, observer: int) -> SwatchShown | None:
    """A colour for the screen; None when nobody can say how it would look there."""
    from colour.screen import can_show, screen_colour

    if not can_show(illuminant, observer):
        return None
    shown = screen_colour(lab, illuminant=illuminant, observer=observer)
    return SwatchShown(colour=shown.hex, out=not shown.in_gamut)


def swatch_of_line(line: CardLine) -> SwatchShown | None:
    """The colour a card was last read at; None when it was not, or cannot be shown."""
    lab = lab_of(line)
    seen = re.match(r"(.+)/(\d+)°", line.conditions)
    if lab is None or seen is None:
        return None
    return swatch_of_lab(lab, seen.group(1), int(seen.group(2)))
