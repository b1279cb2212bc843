"""What patches foretell of other colours: a linear model and a smooth field over Lab together.

The covariance of n patches' values is J Jᵀ + S ⊗ diag(c²) + noise: parameters under their priors
(J, a row for each coordinate of each patch), errors that near colours share (S) and each patch's
own. Without J the three coordinates are apart, so three n by n matrices are inverted and J is
added by Woodbury's identity: 25 ms become 4 for 158 patches.

References
----------
.. [1] Rasmussen, Williams, Gaussian Processes for Machine Learning (2006): 2.7 explicit basis
   functions, 5.4.2 leave one out in closed form, A.3 the matrix inversion lemma.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np

from colour.arrays import Floats

# Lab distances over which a camera's errors go together: broad ones, and a nearer kind.
_FAR = np.array([60.0, 55.0, 55.0])
_NEAR = np.array([18.0, 14.0, 14.0])
_NEAR_SHARE = 0.2
# Colours nearer than this stray together where they stray from all others: one paint's batches.
_ONE_PAINT = 8.0
_ONE_KIND = 40.0
# The channels' shares of errors, against L*.
CHANNEL = np.array([1.0, 1.25, 1.25])


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Foretelling:
    """Patches ready to foretell: ``solve`` applies the inverse of their covariance."""

    inverses: Floats  # (3, n, n)
    slopes: Floats  # (3, n, p): of each coordinate, by parameters in units of their priors
    solved_slopes: Floats  # (3, n, p): inverses @ slopes
    middle: Floats  # (p, p): the inverse of I + Σ slopesᵀ solved_slopes

    @classmethod
    def of(cls, slopes: Floats, smooth: Floats, scale: float, noise: Floats) -> Self:
        """From slopes (n, 3, p), ``smooth_covariance`` of the patches, and noise (n, 3)."""
        n = len(slopes)
        whole = (scale * CHANNEL)[:, None, None] ** 2 * smooth
        whole[:, np.arange(n), np.arange(n)] += noise.T
        inverses = np.asarray(np.linalg.inv(whole))
        by_channel = np.ascontiguousarray(slopes.transpose(1, 0, 2))
        solved = inverses @ by_channel
        gram = _flat(by_channel).T @ _flat(solved)
        middle = np.asarray(np.linalg.inv(np.eye(gram.shape[0]) + gram))
        return cls(inverses=inverses, slopes=by_channel, solved_slopes=solved, middle=middle)

    def solve(self, values: Floats) -> Floats:
        """The inverse covariance times values (3, n, m)."""
        alone = self.inverses @ values
        pulled = _flat(self.solved_slopes).T @ _flat(values)
        return np.asarray(alone - self.solved_slopes @ (self.middle @ pulled))

    def blocks(self) -> Floats:
        """The 3 by 3 blocks of the inverse covariance on its diagonal, (n, 3, 3)."""
        n = self.inverses.shape[1]
        by_patch = self.solved_slopes.transpose(1, 0, 2)
        blocks = -(by_patch @ self.middle) @ by_patch.transpose(0, 2, 1)
        index = np.arange(3)
        blocks[:, index, index] += self.inverses[:, np.arange(n), np.arange(n)].T
        return np.asarray(blocks)

    def left_out(self, solved: Floats) -> tuple[Floats, Floats]:
        """Error (n, 3) of each patch as the others foretell it, with its covariance (n, 3, 3).

        ``solved`` (n, 3) is the inverse covariance times what the patches showed.
        """
        spread = np.linalg.inv(self.blocks())
        return (spread @ solved[:, :, None])[..., 0], np.asarray(spread)

    def foretell(
        self, solved: Floats, slopes: Floats, across: Floats, within: Floats, scale: float
    ) -> tuple[Floats, Floats]:
        """Mean (m, 3) beside the prior's, and joint covariance (3m, 3m), of other colours.

        ``slopes`` (m, 3, p) are theirs, ``across`` (m, n) and ``within`` (m, m) their smooth
        covariance with the patches and with one another.
        """
        m, n = across.shape
        shared = (scale * CHANNEL) ** 2
        # (m, 3) rows against (3, n) columns.
        flat = slopes.reshape(3 * m, -1)
        cross = (flat @ _flat(self.slopes).T).reshape(m, 3, 3, n)
        for k in range(3):
            cross[:, k, k] += shared[k] * across
        mean = np.einsum("ikln,nl->ik", cross, solved)
        columns = cross.reshape(3 * m, 3, n).transpose(1, 2, 0)
        explained = cross.reshape(3 * m, 3 * n) @ self.solve(columns).reshape(3 * n, 3 * m)
        joint = flat @ flat.T + np.kron(within, np.diag(shared)) - explained
        return np.asarray(mean), np.asarray((joint + joint.T) / 2)


def _flat(stack: Floats) -> Floats:
    return stack.reshape(-1, stack.shape[-1])


def smooth_covariance(a: Floats, b: Floats) -> Floats:
    """Covariance (m, n) of errors that colours a (m, 3) and b (n, 3) share, at a scale of 1.

    Cameras stray more on saturated colours, and neutrals least.
    """
    reach = [0.5 + np.hypot(lab[:, 1], lab[:, 2]) / 40 for lab in (a, b)]
    alike = (1 - _NEAR_SHARE) * _matern(a, b, _FAR) + _NEAR_SHARE * _matern(a, b, _NEAR)
    return np.asarray(reach[0][:, None] * reach[1][None, :] * alike)


def one_paint_covariance(lab: Floats, scale: float) -> Floats:
    """Covariance (3m, 3m) of what single colours stray by; colours that are nearly one share it."""
    apart = ((lab[:, None, :] - lab[None, :, :]) ** 2).sum(axis=-1) / _ONE_PAINT**2
    return np.asarray(np.kron(scale**2 * np.exp(-apart / 2), np.diag(CHANNEL**2)))


def unlike_print_covariance(lab: Floats, scale: float) -> Floats:
    """Covariance (3m, 3m) of errors no residual shows: paint is no printing ink.

    A camera and an eye differ over another pigment's spectrum, and a print strays evenly from its
    nominal values. Both are nearly the same for colours of one kind, so differences lose them.
    """
    reach = 0.6 + np.hypot(lab[:, 1], lab[:, 2]) / 50
    apart = ((lab[:, None, :] - lab[None, :, :]) ** 2).sum(axis=-1) / _ONE_KIND**2
    shared = scale**2 * reach[:, None] * reach[None, :] * np.exp(-apart / 2)
    return np.asarray(np.kron(shared, np.diag(CHANNEL**2)))


def _matern(a: Floats, b: Floats, length: Floats) -> Floats:
    """Matérn 5/2 over Lab."""
    x, y = a / length, b / length
    squares = (x**2).sum(axis=-1)[:, None] + (y**2).sum(axis=-1)[None, :] - 2 * x @ y.T
    apart = np.sqrt(5 * np.maximum(squares, 0.0))
    return np.asarray((1 + apart + apart**2 / 3) * np.exp(-apart))
