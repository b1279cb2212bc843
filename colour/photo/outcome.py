"""What a photograph of a target said: window by window, or why it was refused.

Everything here turns into plain JSON values and back, for the photograph is read in a process of
its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Self

Lab = tuple[float, float, float]
Matrix = tuple[tuple[float, ...], ...]
Point = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """One reason to refuse a photograph, or one warning about it: a code and a sentence."""

    code: str
    message: str


class PhotoRefused(Exception):
    """A photograph that cannot be trusted, with every reason at once."""

    def __init__(self, reasons: Sequence[Remark]) -> None:
        super().__init__(" ".join(reason.message for reason in reasons))
        self.reasons = tuple(reasons)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """How well the target's own patches are met, in ΔE00; left out: each by all the others."""

    mean_delta_e_2000: float
    max_delta_e_2000: float
    left_out_mean_delta_e_2000: float
    model: str  # in words: what was fitted


@dataclass(frozen=True, slots=True, kw_only=True)
class WindowRead:
    """One window: the mean colour of what lies in it."""

    name: str
    lab: Lab
    covariance: Matrix  # 3 by 3, of this colour by itself
    pixels: int  # that the mean was taken over
    share_used: float  # of the pixels in the window, dust, glare and edges left out
    texture: float  # standard deviation of L* from place to place, at about a millimetre
    outline: tuple[Point, ...]  # its corners in the upright photograph, pixels, clockwise


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeSeen:
    """A code in the frame that is no marker: perhaps a card's label."""

    text: str
    window: str | None  # the window it lies in or under
    outline: tuple[Point, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoRead:
    """A photograph read: its windows with their joint covariance, and what it rests on."""

    target: str
    illuminant: str
    observer: str
    values: str  # of the target's patches: nominal or measured
    size: tuple[int, int]  # width and height of the upright photograph, pixels
    outline: tuple[Point, ...]  # the target's corners in it, clockwise from its top left
    windows: tuple[WindowRead, ...]
    covariance: Matrix  # 3n by 3n, joint, in the order of the windows
    fit: Fit
    warnings: tuple[Remark, ...] = ()
    codes: tuple[CodeSeen, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Self:
        """The inverse of ``as_dict``, also after JSON made lists of its tuples."""
        return cls(
            target=data["target"],
            illuminant=data["illuminant"],
            observer=data["observer"],
            values=data["values"],
            size=(data["size"][0], data["size"][1]),
            outline=_points(data["outline"]),
            windows=tuple(
                WindowRead(
                    **{
                        **window,
                        "lab": tuple(window["lab"]),
                        "covariance": _matrix(window["covariance"]),
                        "outline": _points(window["outline"]),
                    }
                )
                for window in data["windows"]
            ),
            covariance=_matrix(data["covariance"]),
            fit=Fit(**data["fit"]),
            warnings=tuple(Remark(**remark) for remark in data["warnings"]),
            codes=tuple(
                CodeSeen(**{**code, "outline": _points(code["outline"])}) for code in data["codes"]
            ),
        )

    def window(self, name: str) -> WindowRead | None:
        return next((window for window in self.windows if window.name == name), None)


def _points(values: Sequence[Sequence[float]]) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in values)


def _matrix(values: Sequence[Sequence[float]]) -> Matrix:
    return tuple(tuple(float(value) for value in row) for row in values)
