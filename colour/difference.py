"""Colour differences between CIELAB colours; every result is in CIELAB or CIEDE2000 units.

The first colour is the master. Two tuples (or lists) of three numbers are compared in plain
Python and give a float without importing numpy; anything else is array_like, with L*, a*, b* on
the last axis and leading axes that broadcast: one master against n cards is ``(3,)`` against
``(n, 3)`` and gives ``(n,)``.
NaN in gives NaN out.
"""

# numpy is imported by the first call on arrays, not before: `keepcard difference` has no use
# for it and would spend half its time there.
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar, overload

from colour import one_pair
from colour.one_pair import Components, Lab, Steps2000

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from colour.arrays import Floats

Result = TypeVar("Result")

__all__ = [
    "Components",
    "Lab",
    "Steps2000",
    "components",
    "delta_e_2000",
    "delta_e_94",
    "delta_e_ab",
    "delta_e_cmc",
    "steps_2000",
]

_ROW = (tuple, list)
# What plain arithmetic raises on a tuple it cannot use: text or nested rows, another length than
# three, infinity. The array path then answers, or says what is wrong.
_NOT_PLAIN = (TypeError, ValueError, OverflowError)


@overload
def delta_e_2000(
    master: Lab, sample: Lab, *, k_l: float = ..., k_c: float = ..., k_h: float = ...
) -> float: ...
@overload
def delta_e_2000(
    master: "ArrayLike",
    sample: "ArrayLike",
    *,
    k_l: float = ...,
    k_c: float = ...,
    k_h: float = ...,
    threads: int | None = ...,
) -> Any: ...
def delta_e_2000(
    master: "ArrayLike",
    sample: "ArrayLike",
    *,
    k_l: float = 1.0,
    k_c: float = 1.0,
    k_h: float = 1.0,
    threads: int | None = None,
) -> Any:
    """CIEDE2000 difference, ΔE00.

    Parameters
    ----------
    master, sample : array_like, shape (..., 3)
        CIELAB colours; leading axes broadcast.
    k_l, k_c, k_h : float
        Parametric factors; 1 under the reference conditions.
    threads : int, optional
        Threads for arrays. By default two for a quarter of a million pairs and more.

    Returns
    -------
    float or ndarray, shape (...)
        A float for two single colours. Symmetric in master and sample; zero for equal colours.

    Notes
    -----
    Arrays take the memory of the result and some 3 MiB a thread.
    ΔE00 is made for differences up to about 5 ΔE*ab and is not a metric: two colours each
    0.7 from a third can be 1.5 apart.

    References
    ----------
    .. [1] ISO/CIE 11664-6, Colorimetry, Part 6: CIEDE2000 colour-difference formula.
    .. [2] Sharma, Wu, Dalal, Color Res. Appl. 30 (2005) 21-30, doi 10.1002/col.20070.
    """
    if isinstance(master, _ROW) and isinstance(sample, _ROW):  # _of_one_pair, without its cost
        try:
            return one_pair.delta_e_2000(master, sample, k_l, k_c, k_h)  # type: ignore[arg-type]
        except _NOT_PLAIN:
            pass
    import numpy as np

    from colour import ciede2000_bulk

    one_pair.check_factors(k_l, k_c, k_h)
    masters, samples = _pairs(master, sample)
    if masters.ndim == 1:  # a hundred array operations on one number each would take 100 µs
        try:
            return one_pair.delta_e_2000(masters.tolist(), samples.tolist(), k_l, k_c, k_h)
        except _NOT_PLAIN:
            return float("nan")  # infinity
    result = np.empty(masters.shape[:-1])
    ciede2000_bulk.fill(masters, samples, result, (k_l, k_c, k_h), threads)
    return result


@overload
def steps_2000(
    master: Lab, sample: Lab, *, k_l: float = ..., k_c: float = ..., k_h: float = ...
) -> Steps2000[float]: ...
@overload
def steps_2000(
    master: "ArrayLike",
    sample: "ArrayLike",
    *,
    k_l: float = ...,
    k_c: float = ...,
    k_h: float = ...,
) -> Steps2000[Any]: ...
def steps_2000(
    master: "ArrayLike",
    sample: "ArrayLike",
    *,
    k_l: float = 1.0,
    k_c: float = 1.0,
    k_h: float = 1.0,
) -> Steps2000[Any]:
    """CIEDE2000 with every intermediate value, for evidence and for checks.

    Parameters
    ----------
    master, sample : array_like, shape (..., 3)
        CIELAB colours; leading axes broadcast.
    k_l, k_c, k_h : float
        Parametric factors.

    Returns
    -------
    Steps2000
        G, T, S_L, S_C, S_H, R_T, a', C' and h' of both, mean hue, ΔL', ΔC', ΔH' and ΔE00;
        floats for two single colours, else arrays.
    """
    plain = _of_one_pair(one_pair.steps_2000, master, sample, k_l, k_c, k_h)
    if plain is not None:
        return plain
    from colour import ciede2000

    one_pair.check_factors(k_l, k_c, k_h)
    steps = ciede2000.steps(*_pairs(master, sample), k_l, k_c, k_h)
    return steps if steps.g.ndim else Steps2000._make(float(step) for step in steps)


@overload
def components(master: Lab, sample: Lab) -> Components[float]: ...
@overload
def components(master: "ArrayLike", sample: "ArrayLike") -> Components[Any]: ...
def components(master: "ArrayLike", sample: "ArrayLike") -> Components[Any]:
    """Signed CIELAB differences ΔL*, Δa*, Δb*, ΔC*ab, ΔH*ab, sample minus master.

    Parameters
    ----------
    master, sample : array_like, shape (..., 3)
        CIELAB colours; leading axes broadcast.

    Returns
    -------
    Components
        Floats for two single colours, else arrays. ΔH*ab is positive when the sample is
        anticlockwise of the master in the a*b* plane, zero when either is neutral.
    """
    plain = _of_one_pair(one_pair.components, master, sample)
    if plain is not None:
        return plain
    from colour import older_differences

    parts = older_differences.components(*_pairs(master, sample))
    return parts if parts.delta_l.ndim else Components._make(float(part) for part in parts)


@overload
def delta_e_ab(master: Lab, sample: Lab) -> float: ...
@overload
def delta_e_ab(master: "ArrayLike", sample: "ArrayLike") -> Any: ...
def delta_e_ab(master: "ArrayLike", sample: "ArrayLike") -> Any:
    """ΔE*ab, the distance in CIELAB (ISO/CIE 11664-4).

    Parameters
    ----------
    master, sample : array_like, shape (..., 3)
        CIELAB colours; leading axes broadcast.

    Returns
    -------
    float or ndarray, shape (...)
    """
    plain = _of_one_pair(one_pair.delta_e_ab, master, sample)
    if plain is not None:
        return plain
    from colour import older_differences

    return _plain(older_differences.delta_e_ab(*_pairs(master, sample)))


@overload
def delta_e_94(master: Lab, sample: Lab) -> float: ...
@overload
def delta_e_94(master: "ArrayLike", sample: "ArrayLike") -> Any: ...
def delta_e_94(master: "ArrayLike", sample: "ArrayLike") -> Any:
    """ΔE*94 with the graphic-arts weights (CIE 116-1995).

    Parameters
    ----------
    master, sample : array_like, shape (..., 3)
        CIELAB colours; leading axes broadcast. The weights follow the master's chroma, so
        swapping the two changes the result.

    Returns
    -------
    float or ndarray, shape (...)
    """
    plain = _of_one_pair(one_pair.delta_e_94, master, sample)
    if plain is not None:
        return plain
    from colour import older_differences

    return _plain(older_differences.delta_e_94(*_pairs(master, sample)))


@overload
def delta_e_cmc(master: Lab, sample: Lab, *, l: float = ..., c: float = ...) -> float: ...  # noqa: E741
@overload
def delta_e_cmc(
    master: "ArrayLike",
    sample: "ArrayLike",
    *,
    l: float = ...,  # noqa: E741
    c: float = ...,
) -> Any: ...
def delta_e_cmc(
    master: "ArrayLike",
    sample: "ArrayLike",
    *,
    l: float = 2.0,  # noqa: E741
    c: float = 1.0,
) -> Any:
    """ΔE CMC(l:c) (ISO 105-J03).

    Parameters
    ----------
    master, sample : array_like, shape (..., 3)
        CIELAB colours; leading axes broadcast. The weights follow the master, so swapping the
        two changes the result.
    l, c : float
        Weights of lightness and chroma: 2:1 for acceptability, 1:1 for perceptibility.

    Returns
    -------
    float or ndarray, shape (...)
    """
    plain = _of_one_pair(one_pair.delta_e_cmc, master, sample, l, c)
    if plain is not None:
        return plain
    from colour import older_differences

    one_pair.check_positive("l", l)
    one_pair.check_positive("c", c)
    return _plain(older_differences.delta_e_cmc(*_pairs(master, sample), l, c))


def _of_one_pair(
    function: Callable[..., Result], master: object, sample: object, *arguments: float
) -> Result | None:
    """The plain function's answer when both are single colours, else None."""
    if isinstance(master, _ROW) and isinstance(sample, _ROW):
        try:
            return function(master, sample, *arguments)
        except _NOT_PLAIN:
            pass
    return None


def _pairs(master: "ArrayLike", sample: "ArrayLike") -> "tuple[Floats, Floats]":
    """Both as float64 views of one shape."""
    import numpy as np

    from colour.arrays import as_lab, broadcast_shape

    masters = as_lab(master, "master")
    samples = as_lab(sample, "sample")
    shape = (*broadcast_shape(masters, samples), 3)
    return np.broadcast_to(masters, shape), np.broadcast_to(samples, shape)


def _plain(result: "Floats") -> Any:
    return float(result) if result.ndim == 0 else result
