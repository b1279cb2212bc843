"""Two things read by different instruments: what that says, and by how much it widens."""

from __future__ import annotations

from service.domain.records.measuring import Reading
from service.domain.specimens import Specimen
from service.domain.terms import Method

Found = tuple[str, str, str]
"""Code, text and remedy of a reason, as comparability has them."""


def reasons_of_instruments(a: Specimen, b: Specimen) -> list[Found]:
    """What stands against comparing two readings because of what they were read with.

    Where neither reading names its instrument nothing is said: a shop that registers none works
    as it always did, and all its readings are taken to be of one. Where only one is named nobody
    knows whether it was the same. It often was, registered since; so it is noted and said that
    nothing was added for it, and a shop may grade it harder or give it a figure of its own.
    """
    x, y = a.reading, b.reading
    if _same(x, y):
        return []
    if x.instrument_id is None or y.instrument_id is None:
        unnamed = a if x.instrument_id is None else b
        return [
            (
                "instrument_not_named",
                f"Nobody said which instrument read {unnamed.name}, so the uncertainty holds "
                "nothing for what two instruments stand apart by.",
                f"Name the instrument on the reading of {unnamed.name}.",
            )
        ]
    u, v = x.inter_instrument_uncertainty, y.inter_instrument_uncertainty
    if u is not None and v is not None:
        return [
            (
                "other_instrument",
                f"{a.name} and {b.name} were read by different instruments. What these stand "
                f"apart by, {u:g} and {v:g} per channel, is in the uncertainty: "
                f"{variance_between_instruments(x, y) ** 0.5:.2g}.",
                "Read both with one instrument for a sharper answer.",
            )
        ]
    without = [one.name for one, figure in ((a, u), (b, v)) if figure is None]
    return [
        (
            "other_instrument_unknown",
            f"{a.name} and {b.name} were read by different instruments, and nobody said for "
            f"{' and '.join(without)} how far the instrument stands from others.",
            "Read both with one instrument, or read one check tile with both, put into the shop's "
            "book how far they stand apart, and correct the two readings by it.",
        )
    ]


def variance_between_instruments(a: Reading, b: Reading) -> float:
    """What two different instruments add to each channel of a difference, as a variance.

    The figures are of how far each stands from what its kind reads, so their squares add up.
    Nothing where one instrument read both, or where a figure is missing: then a reason says so.
    """
    u, v = a.inter_instrument_uncertainty, b.inter_instrument_uncertainty
    if _same(a, b) or None in (a.instrument_id, b.instrument_id) or u is None or v is None:
        return 0.0
    return u**2 + v**2


def _same(a: Reading, b: Reading) -> bool:
    """Whether one instrument read both, or the question does not arise."""
    return a.instrument_id == b.instrument_id or Method.PHOTOGRAPH in (a.method, b.method)
