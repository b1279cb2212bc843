"""Where the sheet's millimetres fall in the photograph: a pinhole camera with slight distortion.

Positions in the photograph are pixels, (0, 0) the middle of the top left one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """How the camera is held."""

    width: int = 2048
    height: int = 1536
    pitch_deg: float = 0.0
    yaw_deg: float = 0.0
    roll_deg: float = 0.0  # the sheet turned in the picture, clockwise
    fill: float = 0.88  # of the frame by the box around the sheet
    offset: tuple[float, float] = (0.0, 0.0)  # -1 to 1 of the room beside that box
    focal: float = 0.75  # focal length by the longer side of the frame
    barrel: float = 0.0  # share by which the corner of the frame is drawn in


@dataclass(frozen=True, slots=True, eq=False)
class Mapping:
    """Sheet to photograph and back."""

    forward: Array  # 3 by 3, millimetres to undistorted pixels
    back: Array
    centre: tuple[float, float]
    radius: float  # half the frame's diagonal
    barrel: float

    def pixels(self, points_mm: ArrayLike) -> Array:
        """(n, 2) photograph positions of sheet positions."""
        flat = project(self.forward, np.asarray(points_mm, float)) - self.centre
        moved = flat.copy()
        for _ in range(12):  # the inverse of the distortion below
            squared = np.sum(moved**2, axis=-1, keepdims=True) / self.radius**2
            moved = flat / (1 + self.barrel * squared)
        return np.asarray(moved + self.centre)

    def millimetres(self, points: ArrayLike) -> Array:
        """(n, 2) sheet positions of photograph positions."""
        off = np.asarray(points, float) - self.centre
        squared = np.sum(off**2, axis=-1, keepdims=True) / self.radius**2
        return project(self.back, off * (1 + self.barrel * squared) + self.centre)


def project(matrix: Array, points: Array) -> Array:
    """Points through a homography."""
    lifted = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(lifted[..., :2] / lifted[..., 2:])


def mapping_of(view: View, width_mm: float, height_mm: float) -> Mapping:
    """The mapping that lets the sheet fill its share of the frame, and sit where it is held."""
    pitch, yaw, roll = (
        math.radians(angle) for angle in (view.pitch_deg, view.yaw_deg, view.roll_deg)
    )
    # Yaw and pitch lean the sheet about its own axes before it is turned in the frame.
    turn = _about(0, pitch) @ _about(1, yaw) @ _about(2, roll)
    focal = view.focal * max(view.width, view.height)
    middle = np.array([width_mm / 2, height_mm / 2])
    corners = np.array([[0, 0], [width_mm, 0], [width_mm, height_mm], [0, height_mm]], float)
    frame = np.array([view.width - 1, view.height - 1], float)
    distance = focal * max(width_mm / view.width, height_mm / view.height) / view.fill
    forward = np.eye(3)
    for _ in range(30):
        forward = np.column_stack([turn[:, 0], turn[:, 1], [0.0, 0.0, distance]])
        forward[:, 2] -= turn[:, :2] @ middle
        forward = np.diag([focal, focal, 1.0]) @ forward
        seen = project(forward, corners)
        used = np.max(np.ptp(seen, axis=0) / (frame + 1)) / view.fill
        if abs(used - 1) < 1e-6:
            break
        distance *= used
    low, high = seen.min(axis=0), seen.max(axis=0)
    room = (frame - (high - low)) / 2
    shift = frame / 2 - (low + high) / 2 + room * 0.9 * np.array(view.offset)
    forward = np.array([[1, 0, shift[0]], [0, 1, shift[1]], [0, 0, 1]]) @ forward
    forward /= forward[2, 2]
    return Mapping(
        forward,
        np.asarray(np.linalg.inv(forward), float),
        (float(frame[0]) / 2, float(frame[1]) / 2),
        float(np.hypot(*frame)) / 2,
        view.barrel,
    )


def _about(axis: int, angle: float) -> Array:
    cos, sin = math.cos(angle), math.sin(angle)
    turn = np.eye(3)
    i, j = [k for k in range(3) if k != axis]
    turn[i, i] = turn[j, j] = cos
    turn[i, j], turn[j, i] = -sin, sin
    return turn
