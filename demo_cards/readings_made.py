"""Readings made from stated true colours and stated noise; the same on every run."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from typing import Any

from service.domain.records.measuring import AngleReading, Lab


def true_colours(colours: Mapping[str, Any], finish: str, stage: str, card: str) -> dict[str, Lab]:
    """The true colour of a card at one stage, by angle; the angle "" is an instrument's only one.

    Before clear a difference in the flake shows less, so a card then lies four fifths as far off.
    """
    share = 0.8 if stage == "base_dry" else 1.0
    offsets = colours["cards"][card]
    return {
        angle: tuple(m + share * d for m, d in zip(lab, offsets[angle], strict=True))
        for angle, lab in colours["finishes"][finish][stage].items()
    }


def repeats_of(
    true: Mapping[str, Lab], noise: float, repeats: int, *, seed: int, name: str
) -> tuple[AngleReading, ...]:
    """Repeat readings of a true colour: normal noise in every channel, shown to 0.01.

    Each reading has a generator of its own, so one more in the story changes no other.
    """
    import numpy as np

    generator = np.random.default_rng([seed, zlib.crc32(name.encode())])
    made = []
    for angle, lab in true.items():
        seen = np.round(lab + generator.normal(0.0, noise, (repeats, 3)), 2)
        rows = tuple((float(row[0]), float(row[1]), float(row[2])) for row in seen)
        made.append(AngleReading(angle=int(angle) if angle else None, repeats=rows))
    return tuple(made)
