"""Simulated photographs read the way the service reads them, and how wrong the pairs came out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from colour.decision import UncertainDifference, judge_difference
from colour.difference import delta_e_2000
from colour.photo.measuring import read_picture
from colour.photo.outcome import PhotoRead, PhotoRefused
from colour.photo.target import Lab, Target
from demo_cards.photographing.chances import car_colour
from demo_cards.photographing.scene import Card
from demo_cards.photographing.spectra import possible
from service.photos.decode import decode
from service.photos.markers import find_codes

# Quantile of chi-squared with three degrees of freedom at 95 %, as any table of it prints it.
CHI_SQUARE_95 = 7.815
LIMIT, RISK = 0.8, 0.05  # of a judgement
DARK, SATURATED, NEARLY_NEUTRAL = 15.0, 30.0, 6.0


@dataclass(frozen=True, kw_only=True)
class Pair:
    """A card beside its master: what is true, what was read, and the joint covariance of both."""

    window: str
    truth: tuple[Lab, Lab]  # master, card
    read: tuple[Lab, Lab]
    joint: Sequence[Sequence[float]]  # (6, 6)

    @property
    def error(self) -> np.ndarray:
        """Of the Lab difference."""
        (master, card), (m, c) = (np.array(labs) for labs in (self.truth, self.read))
        return (c - m) - (card - master)

    @property
    def vector_error(self) -> float:
        """The error of the Lab difference in ΔE00: the true card beside where it put the card."""
        card = np.array(self.truth[1])
        return float(delta_e_2000(card, card + self.error))

    @property
    def true_difference(self) -> float:
        return float(delta_e_2000(*self.truth))

    @property
    def seen_difference(self) -> float:
        return float(delta_e_2000(*self.read))

    @property
    def lightness(self) -> float:
        return self.truth[0][0]

    @property
    def chroma(self) -> float:
        return float(np.hypot(*self.truth[0][1:]))

    @property
    def squares(self) -> float:
        """Of the error of the difference, in units of its stated covariance."""
        contrast = np.hstack([-np.eye(3), np.eye(3)])
        spread = contrast @ np.array(self.joint) @ contrast.T
        return float(self.error @ np.linalg.solve(spread, self.error))

    def window_squares(self, which: int) -> float:
        """The same of one window's own colour: 0 the master, 1 the card."""
        block = slice(3 * which, 3 * which + 3)
        off = np.array(self.read[which]) - self.truth[which]
        return float(off @ np.linalg.solve(np.array(self.joint)[block, block], off))

    def verdict(self) -> str:
        difference = UncertainDifference.in_frame(*self.read, np.array(self.joint))
        return judge_difference(difference, limit=LIMIT, risk=RISK).verdict.value

    def is_wrong(self, verdict: str) -> bool:
        shows = self.true_difference > LIMIT
        return (verdict == "blends" and shows) or (verdict == "shows" and not shows)


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One photograph read against one target."""

    markers: int  # of the sheet's four that were found
    refused: tuple[str, ...] = ()  # codes
    messages: tuple[str, ...] = ()
    warned: tuple[str, ...] = ()
    pairs: tuple[Pair, ...] = ()
    left_out: float = float("nan")  # mean ΔE00 of patches as the others foretell them
    settings: Mapping[str, Any] = field(default_factory=dict)


def read_photograph(content: bytes, truth: Mapping[str, Lab], *targets: Target) -> list[Reading]:
    """Decode, find the codes and read against each target."""
    picture = decode(content).picture
    found = find_codes(picture)
    readings = []
    for target in targets:
        try:
            read = read_picture(picture, target, markers=found.markers, codes=found.codes)
        except PhotoRefused as refusal:
            codes = tuple(reason.code for reason in refusal.reasons)
            messages = tuple(reason.message for reason in refusal.reasons)
            readings.append(Reading(markers=len(found.markers), refused=codes, messages=messages))
            continue
        warned = tuple(sorted({remark.code for remark in read.warnings}))
        readings.append(
            Reading(
                markers=len(found.markers),
                warned=warned,
                pairs=pairs_of(read, truth),
                left_out=read.fit.left_out_mean_delta_e_2000,
            )
        )
    return readings


def pairs_of(read: PhotoRead, truth: Mapping[str, Lab]) -> tuple[Pair, ...]:
    names = [window.name for window in read.windows]
    joint = np.array(read.covariance)
    master = names.index("master")
    pairs = []
    for card, name in enumerate(names):
        if name == "master" or name not in truth:
            continue
        rows = [*range(3 * master, 3 * master + 3), *range(3 * card, 3 * card + 3)]
        pairs.append(
            Pair(
                window=name,
                truth=(truth["master"], truth[name]),
                read=(read.windows[master].lab, read.windows[card].lab),
                joint=joint[np.ix_(rows, rows)].tolist(),
            )
        )
    return tuple(pairs)


def judged_cards(
    rng: np.random.Generator, target: Target, lightness: tuple[float, float]
) -> dict[str, Card]:
    """A master, one card about the limit (true ΔE00 0 to 1.8) and others that show (2 to 3.5)."""
    master = car_colour(rng, lightness)
    surface = {"flake": float(rng.choice([0.0, 0.0, 1.5, 3.0]))}
    cards = {}
    for window in target.windows:
        lab = master
        if window.name != "master":
            wanted = rng.uniform(0.0, 1.8) if window.name == "card" else rng.uniform(2.0, 3.5)
            lab = beside(master, rng.normal(0, 1, 3), float(wanted))
        cards[window.name] = Card(
            lab=lab, dust=int(rng.integers(0, 8)), scratches=int(rng.integers(0, 2)), **surface
        )
    return cards


def beside(master: Lab, way: np.ndarray, difference: float) -> Lab:
    """A colour so many ΔE00 from the master along a way through Lab, if a surface can have it."""
    low, high = 0.0, 40.0
    for _ in range(40):
        middle = (low + high) / 2
        lab = np.array(master) + middle * way / np.linalg.norm(way)
        low, high = (middle, high) if delta_e_2000(master, lab) < difference else (low, middle)
    lab = np.array(master) + high * way / np.linalg.norm(way)
    if lab[0] < 1.5:
        lab[0] = 2 * master[0] - lab[0]  # no darker than black: the other way
    lab = possible(lab)
    return float(lab[0]), float(lab[1]), float(lab[2])


def root_mean_square(values: Sequence[float]) -> float:
    return float(np.sqrt(np.mean(np.square(values))))


def share(flags: Sequence[bool]) -> float:
    return float(np.mean(flags))
