"""Angles as a reason: what a finish needs, what was read, and what must never be said without."""

from __future__ import annotations

from collections.abc import Sequence

from service.domain.records.measuring import Reading
from service.domain.specimens import Specimen
from service.domain.terms import Method

Found = tuple[str, str, str]
"""Code, text and remedy of a reason, as comparability has them."""

Angles = frozenset[int | None]


def angles_read(readings: Sequence[Reading]) -> Angles:
    """The angles at which a thing was read, by all the readings that are taken together."""
    return frozenset(angle.angle for reading in readings for angle in reading.angles)


def listed(angles: Sequence[int]) -> str:
    """15°, 45°, 110°."""
    return ", ".join(f"{angle}°" for angle in angles)


def reasons_of_angles(
    required: tuple[int, ...], a: Specimen, b: Specimen, of_a: Angles, of_b: Angles
) -> list[Found]:
    """What the angles of two readings say against comparing them."""
    if not required:
        return [] if of_a & of_b else [_no_common_angle(a, b, of_a, of_b)]
    missing = [angle for angle in required if angle not in of_a or angle not in of_b]
    if not missing:
        return []
    if Method.PHOTOGRAPH in (a.reading.method, b.reading.method):
        return [
            (
                "angle_missing",
                f"The finish needs a reading at {listed(missing)}, and a photograph sees one angle "
                "in whatever light there was, so it cannot judge flop.",
                f"Read both at {listed(missing)} with a multi-angle instrument, or log an eye "
                "check at face, middle and flop.",
            )
        ]
    lacking = " and ".join(
        one.name for one, has in ((a, of_a), (b, of_b)) if not set(missing) <= has
    )
    return [
        (
            "angle_missing",
            f"The finish needs a reading at {listed(missing)}, and {lacking} has none there.",
            f"Read {lacking} at {listed(missing)}.",
        )
    ]


def _no_common_angle(a: Specimen, b: Specimen, of_a: Angles, of_b: Angles) -> Found:
    named = [sorted(angle for angle in found if angle is not None) for found in (of_a, of_b)]
    if not all(named):
        # One came from an instrument with one geometry, and no angle of the other's is it.
        many, one = (a, b) if named[0] else (b, a)
        angles = listed(named[0] or named[1])
        return (
            "unlike_angle",
            f"{many.name} was read at {angles}, {one.name} by an instrument with one geometry.",
            f"Read {one.name} at {angles} with a multi-angle instrument.",
        )
    return (
        "unlike_angle",
        f"{a.name} was read at {listed(named[0])}, {b.name} at {listed(named[1])}.",
        f"Read {b.name} at {listed(named[0])}.",
    )
