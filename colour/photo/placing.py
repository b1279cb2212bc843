"""Where a target lies in a photograph: millimetres to pixels and back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike

from colour.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placement:
    """A plane seen in perspective through a lens that bends a little.

    ``homography`` (3, 3) takes millimetres to pixels of an unbent photograph; ``bend`` is the
    radial term per squared ``half_diagonal``, positive when the edges are pulled in.
    """

    homography: Floats
    bend: float = 0.0
    centre: tuple[float, float] = (0.0, 0.0)  # pixels
    half_diagonal: float = 1.0  # pixels
    misfit_mm: float = 0.0  # root mean square of the points it was fitted to

    @classmethod
    def from_corners(cls, corners: ArrayLike, width_mm: float, height_mm: float) -> Self:
        """From the four corners of a target, clockwise from its own top left, in pixels.

        Raises
        ------
        ValueError
            When three of them lie on a line or the outline crosses itself.
        """
        pixels = np.asarray(corners, dtype=np.float64)
        if pixels.shape != (4, 2) or not np.isfinite(pixels).all():
            raise ValueError(f"corners must be four points x, y, got {pixels.tolist()}")
        turns = np.roll(pixels, -1, axis=0) - pixels
        crosses = turns[:, 0] * np.roll(turns[:, 1], -1) - turns[:, 1] * np.roll(turns[:, 0], -1)
        if np.abs(crosses).min() < 1.0 or np.ptp(np.sign(crosses)) > 0:
            raise ValueError(
                "corners must go round the target without crossing, none on a line between others"
            )
        if crosses[0] < 0:
            raise ValueError("corners must go clockwise; a target is never seen in a mirror")
        plane = np.array([[0, 0], [width_mm, 0], [width_mm, height_mm], [0, height_mm]], float)
        return cls(homography=_homography(plane, pixels))

    @classmethod
    def from_points(
        cls, plane: ArrayLike, pixels: ArrayLike, size: tuple[int, int], *, fit_bend: bool
    ) -> Self:
        """Fitted to at least four points of the target (mm) and of the photograph (pixels).

        ``size`` is the photograph's width and height. The bend of the lens is fitted on request:
        it wants points far apart, sixteen of four markers, say.
        """
        of_plane = np.asarray(plane, dtype=np.float64)
        of_photo = np.asarray(pixels, dtype=np.float64)
        centre = (np.array(size, float) - 1) / 2
        half = float(np.hypot(*size)) / 2
        bend = 0.0
        homography = _homography(of_plane, of_photo)
        if fit_bend:
            bend = _best_bend(of_plane, of_photo, centre, half)
            homography = _homography(of_plane, _unbent(of_photo, bend, centre, half))
        fitted = cls(
            homography=homography,
            bend=bend,
            centre=(float(centre[0]), float(centre[1])),
            half_diagonal=half,
        )
        misses = fitted.to_target(of_photo) - of_plane
        return cls(
            homography=homography,
            bend=bend,
            centre=fitted.centre,
            half_diagonal=half,
            misfit_mm=float(np.sqrt(np.mean(np.sum(misses**2, axis=-1)))),
        )

    def to_photo(self, points_mm: ArrayLike) -> Floats:
        """Pixels of points (..., 2) of the target."""
        flat = _project(self.homography, np.asarray(points_mm, dtype=np.float64))
        if self.bend == 0.0:
            return flat
        away = flat - self.centre
        radius = np.sum(away**2, axis=-1, keepdims=True) / self.half_diagonal**2
        # The inverse of `_unbent`, to the second order: bends are a few hundredths at most.
        factor = 1 - self.bend * radius + 3 * (self.bend * radius) ** 2
        return np.asarray(self.centre + away * factor)

    def to_target(self, points_px: ArrayLike) -> Floats:
        """Millimetres of points (..., 2) of the photograph."""
        straight = _unbent(
            np.asarray(points_px, dtype=np.float64),
            self.bend,
            np.asarray(self.centre),
            self.half_diagonal,
        )
        return _project(np.asarray(np.linalg.inv(self.homography)), straight)

    def pixels_per_mm(self, point_mm: ArrayLike) -> float:
        """Geometric mean of the scale at one point of the target."""
        at = np.asarray(point_mm, dtype=np.float64)
        corners = self.to_photo(np.stack([at, at + [1.0, 0.0], at + [0.0, 1.0]]))
        along, down = corners[1] - corners[0], corners[2] - corners[0]
        return float(np.sqrt(abs(along[0] * down[1] - along[1] * down[0])))


def _project(homography: Floats, points: Floats) -> Floats:
    x, y = points[..., 0], points[..., 1]
    h = homography
    depth = h[2, 0] * x + h[2, 1] * y + h[2, 2]
    across = h[0, 0] * x + h[0, 1] * y + h[0, 2]
    down = h[1, 0] * x + h[1, 1] * y + h[1, 2]
    return np.stack([across / depth, down / depth], axis=-1)


def _unbent(points: Floats, bend: float, centre: Floats, half_diagonal: float) -> Floats:
    if bend == 0.0:
        return points
    away = points - centre
    radius = np.sum(away**2, axis=-1, keepdims=True) / half_diagonal**2
    return np.asarray(centre + away * (1 + bend * radius))


def _homography(plane: Floats, pixels: Floats) -> Floats:
    """Least squares over normalised points (the direct linear transformation)."""
    from_plane, to_photo = _normaliser(plane), _normaliser(pixels)
    p = _project(from_plane, plane)
    q = _project(to_photo, pixels)
    x, y, u, v = p[:, 0], p[:, 1], q[:, 0], q[:, 1]
    one, none = np.ones_like(x), np.zeros_like(x)
    across = np.stack([x, y, one, none, none, none, -u * x, -u * y, -u], axis=-1)
    down = np.stack([none, none, none, x, y, one, -v * x, -v * y, -v], axis=-1)
    equations = np.concatenate([across, down])
    # The eigenvector of the least eigenvalue; for four points the equations leave just one.
    normal = np.linalg.eigh(equations.T @ equations)[1][:, 0].reshape(3, 3)
    found = np.linalg.inv(to_photo) @ normal @ from_plane
    return np.asarray(found / found[2, 2])


def _normaliser(points: Floats) -> Floats:
    centre = points.mean(axis=0)
    scale = np.sqrt(2) / max(float(np.mean(np.hypot(*(points - centre).T))), 1e-12)
    return np.array([[scale, 0, -scale * centre[0]], [0, scale, -scale * centre[1]], [0, 0, 1.0]])


def _best_bend(plane: Floats, pixels: Floats, centre: Floats, half: float) -> float:
    """The radial term that leaves the least misfit, or none when it gains little."""

    def misfit(bend: float) -> float:
        straight = _unbent(pixels, bend, centre, half)
        seen = _project(_homography(plane, straight), plane)
        return float(np.sum((seen - straight) ** 2))

    # The misfit is nearly a parabola of the bend: its vertex, found twice.
    straight_misfit = misfit(0.0)
    bend, reach = 0.0, 0.03
    for _ in range(2):
        middle = straight_misfit if bend == 0.0 else misfit(bend)
        low, high = misfit(bend - reach), misfit(bend + reach)
        curve = low - 2 * middle + high
        if curve <= 0:
            return 0.0
        bend = float(np.clip(bend + 0.5 * reach * (low - high) / curve, -0.15, 0.15))
        reach /= 10
    return bend if misfit(bend) < 0.5 * straight_misfit else 0.0
