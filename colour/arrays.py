"""The one place where array arguments of ``colour`` are checked."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

Floats = NDArray[np.float64]


def as_lab(values: "ArrayLike", name: str) -> Floats:
    """Float64 array of CIELAB colours, L*, a*, b* on the last axis.

    Parameters
    ----------
    values : array_like, shape (..., 3)
        Colours in CIELAB units. NaN passes.
    name : str
        What the caller calls them, for the message.

    Returns
    -------
    ndarray, shape (..., 3)
        The same array when it already holds float64.
    """
    try:
        lab = np.asarray(values)
    except ValueError as ragged:
        raise ValueError(
            f"{name} must hold L*, a*, b* on its last axis, got rows of unlike length"
        ) from ragged
    if lab.ndim == 0 or lab.shape[-1] != 3:
        raise ValueError(f"{name} must hold L*, a*, b* on its last axis, got shape {lab.shape}")
    if lab.dtype.kind in "fiu":
        return lab.astype(np.float64, copy=False)
    if lab.dtype.kind == "O":
        try:
            # One by one, because astype turns None into NaN.
            return np.array([float(value) for value in lab.ravel()]).reshape(lab.shape)
        except (TypeError, ValueError):
            pass
    raise TypeError(f"{name} must hold numbers, got {_first_odd(lab)}")


def as_lab_rows(values: "ArrayLike", name: str) -> Floats:
    """``as_lab`` for a set of colours: shape (n, 3), every value finite."""
    lab = as_lab(values, name)
    if lab.ndim != 2:
        raise ValueError(f"{name} must be rows of L*, a*, b*, shape (n, 3), got shape {lab.shape}")
    check_finite(lab, name)
    return lab


def check_finite(lab: Floats, name: str) -> None:
    """Refuse NaN and infinity, naming the first row that has them."""
    # A sum is finite only when every term is; it reads the array without a temporary.
    with np.errstate(over="ignore", invalid="ignore"):
        if np.isfinite(lab.sum()):
            return
    bad = ~np.isfinite(lab)
    if not bad.any():  # the sum alone overflowed
        return
    where = tuple(int(i) for i in np.argwhere(bad)[0])
    row = f" in row {where[0]}" if lab.ndim > 1 else ""
    raise ValueError(f"{name} must be finite, got {float(lab[where])}{row}; leave such rows out")


def broadcast_shape(master: Floats, sample: Floats) -> tuple[int, ...]:
    """The leading shape of a comparison, or a plain refusal."""
    try:
        return np.broadcast_shapes(master.shape[:-1], sample.shape[:-1])
    except ValueError:
        raise ValueError(
            f"master of shape {master.shape} and sample of shape {sample.shape} do not go "
            "together; give one colour against many, or as many of each"
        ) from None


def _first_odd(lab: NDArray[np.generic]) -> str:
    flat = lab.ravel()
    return repr(flat[0].item()) if flat.size and lab.dtype.kind != "O" else f"dtype {lab.dtype}"
