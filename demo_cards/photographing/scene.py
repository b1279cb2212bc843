"""What lies in front of the camera: the sheet as printed, the cards, and what spoils them.

Positions are millimetres from the target's top left corner.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from colour.photo.target import Lab, Target
from demo_cards.photographing.spectra import SMOOTH, Family, possible

Point = tuple[float, float]

PLAIN_PAPER: Lab = (94.5, 0.3, -1.5)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SheetPicture:
    """A picture of the sheet, for its codes and lettering; colours come from the target."""

    pixels: NDArray[np.uint8]  # (height, width) or (height, width, 3)
    dots_per_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """What lies in a window: its true colour under the target's conditions, and its surface."""

    lab: Lab
    flake: float = 0.0  # standard deviation of L* from place to place, at about a millimetre
    dust: int = 0  # specks
    scratches: int = 0
    overlap_mm: float = 1.0  # that the card reaches past its window


@dataclass(frozen=True, slots=True, kw_only=True)
class Glare:
    """Light mirrored by a glossy surface, added to what the window shows."""

    window: str
    strength: float = 0.5  # at its middle, as a share of the light from white
    length_mm: float = 40.0
    width_mm: float = 9.0
    angle_deg: float = 30.0
    offset_mm: Point = (0.0, 0.0)  # of its middle from the window's


@dataclass(frozen=True, slots=True, kw_only=True)
class Shadow:
    """Everything on one side of a line stands in part shade."""

    through: Point
    angle_deg: float = 90.0  # of the edge
    softness_mm: float = 4.0  # over which the light falls off
    depth: float = 0.4  # share of the light taken away


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """Something lying on the sheet, a capsule from one point to another."""

    start: Point
    end: Point
    width_mm: float
    lab: Lab


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A printed label with a code on it, in the label place of a window."""

    window: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A target with cards in its windows, as it physically is."""

    target: Target
    cards: Mapping[str, Card] = field(default_factory=dict)  # by window
    patches: Mapping[str, Lab | None] = field(default_factory=dict)  # as printed; None: left blank
    picture: SheetPicture | None = None
    paper: Lab = PLAIN_PAPER
    ink: Lab = (17.0, 0.5, 0.5)
    table: Lab = (62.0, 3.0, 12.0)
    grain: float = 0.05  # of the table
    print_family: Family = SMOOTH
    paint_family: Family = SMOOTH
    labels: tuple[Label, ...] = ()
    glare: tuple[Glare, ...] = ()
    shadow: Shadow | None = None
    things: tuple[Thing, ...] = ()
    without_sheet: bool = False  # only the table

    def __post_init__(self) -> None:
        for kind, named, known in (
            ("window", [*self.cards, *(g.window for g in self.glare)], self.target.windows),
            ("label place", [label.window for label in self.labels], self.target.labels),
            ("patch", list(self.patches), self.target.patches),
        ):
            names = [place.name for place in known]
            strangers = [name for name in named if name not in names]
            if strangers:
                raise ValueError(f"no {kind} is named {strangers[0]!r}; there are {names}")

    def as_printed(self) -> dict[str, Lab]:
        """Every patch's physical colour."""
        return {
            patch.name: self.patches.get(patch.name, patch.lab) or self.paper
            for patch in self.target.patches
        }

    def truth(self) -> dict[str, Lab]:
        """Every window's true colour, where a card lies in it."""
        return {name: card.lab for name, card in self.cards.items()}


def printed_with_error(
    target: Target,
    rng: np.random.Generator,
    *,
    smooth: float = 1.0,
    scatter: float = 0.4,
    black: float = 0.0,
    faded: float = 0.0,
    paper: Lab | None = None,
) -> dict[str, Lab]:
    """Patches as a printer might lay them down instead of their nominal values.

    ``smooth`` is the root mean square, per channel in Lab units, of an error that changes slowly
    with the colour (constant, linear and quadratic); ``scatter`` that of what is left to chance.
    Before that come the printer's limits: ``black`` is the darkest L* of its ink, ``faded`` the
    share of chroma that strong colours lose, and ``paper`` what white becomes.
    """
    labs = np.array([patch.lab for patch in target.patches], float)
    scaled = (labs - (50.0, 0.0, 0.0)) / (30.0, 40.0, 40.0)
    terms = [np.ones(len(labs)), *scaled.T, *(scaled**2).T, scaled[:, 0] * scaled[:, 2]]
    error = np.stack(terms, axis=-1) @ rng.normal(0.0, 1.0, (len(terms), 3))
    error *= smooth / np.sqrt(np.mean(error**2, axis=0))
    made = labs.copy()
    if paper is not None:
        made += labs[:, :1] / 100 * (np.array(paper) - (100.0, 0.0, 0.0))
    if black > 0:
        # Two units of L* soft, as ink saturates.
        made[:, 0] = black + 2 * np.logaddexp(0.0, (made[:, 0] - black) / 2)
    strong = np.hypot(made[:, 1], made[:, 2])
    made[:, 1:] *= 1 - faded * np.tanh(strong / 40)[:, None]
    made += error + rng.normal(0.0, scatter, labs.shape)
    made[:, 0] = np.clip(made[:, 0], 1.0, 98.0)
    # Strong inks lie near the edge of what surfaces can be; error may only dull them.
    nominal = np.hypot(labs[:, 1], labs[:, 2])
    strong = nominal > 70
    chroma = np.maximum(np.hypot(made[:, 1], made[:, 2]), 1e-9)
    made[strong, 1:] *= np.minimum(1.0, nominal / chroma)[strong, None]
    made[strong, 0] = np.minimum(made[strong, 0], labs[strong, 0])
    made = possible(made)
    return {patch.name: _lab(row) for patch, row in zip(target.patches, made, strict=True)}


def as_measured(
    target: Target,
    printed: Mapping[str, Lab],
    rng: np.random.Generator,
    *,
    uncertainty: float = 0.2,
) -> Target:
    """The target file of a shop that measured its own print, with its instrument's noise."""
    return replace(
        target,
        values="measured",
        patches=tuple(
            replace(
                patch,
                lab=_lab(printed[patch.name] + rng.normal(0, uncertainty, 3)),
                standard_uncertainty=uncertainty,
            )
            for patch in target.patches
        ),
    )


def cards_of(labs: Mapping[str, Lab], **surface: Any) -> dict[str, Card]:
    """Cards of stated colours, alike in their surface."""
    return {name: Card(lab=lab, **surface) for name, lab in labs.items()}


def _lab(values: NDArray[np.float64]) -> Lab:
    return float(values[0]), float(values[1]), float(values[2])
