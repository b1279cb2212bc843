"""The car beside the steps of a let-down card: how many mid-coats its paint has."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from service.domain.card_code import grouped
from service.domain.comparability import normal_geometry, required_angles
from service.domain.lookups import mean_lab, policy_in_force, uncertainty_of_mean
from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Zone
from service.domain.records.job import Finish
from service.domain.records.measuring import AngleReading, Lab, Reading
from service.domain.terms import Method, ZoneState

REACH = 1.645
"""Standard uncertainties to either side that hold 90 %."""
GROUND_FIRST = (
    "Check the ground coat first: hold step 0 against the car where no mid-coat lies, for instance "
    "under a kick plate. On a wrong ground no step is right."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """What is left between the car and the steps at one angle, at the place where it lies."""

    angle: int | None
    delta_e_2000: float
    limit: float
    difference: Lab
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideSteps:
    """Where the car lies along the steps of one card.

    ``sentence`` says it, ``remains`` what no number of coats takes away. ``coats`` and its
    ``low`` and ``high`` (90 %) are mid-coats; None where they cannot be told, and then
    ``sentence`` says why and what to do.
    """

    card: Card
    sentence: str
    remains: str = ""
    coats: float | None = None
    low: float | None = None
    high: float | None = None
    steps: tuple[int, ...] = ()
    left: tuple[Left, ...] = ()
    lacking: tuple[int, ...] = ()


def let_down_cards(file: RecordFile, finish_id: str) -> list[Card]:
    """The cards of a finish that have let-down steps, newest first."""
    found = [card for card in file.by(Card, "finish_id", finish_id) if _steps(file, card)]
    return sorted(found, key=lambda card: card.observed_at, reverse=True)


def beside_steps(file: RecordFile, card: Card, car: Reading) -> BesideSteps:
    """Where the car, as read, lies along the cleared steps of a card of this file."""
    name = grouped(card.code)
    zones = [zone for zone in _steps(file, card) if zone.cleared]
    if not zones:
        return BesideSteps(
            card=card,
            sentence=f"Card {name} has no cleared steps, and the car is under clear. Clear one "
            "half of it, log the zones, and read them.",
        )
    read = {
        zone.mid_coats or 0: reading
        for zone in sorted(zones, key=lambda zone: zone.mid_coats or 0)
        if (reading := _newest_alike(file.by(Reading, "zone_id", zone.root), car)) is not None
    }
    shared = _shared_angles([car, *read.values()])
    if len(read) < 2 or not shared:
        return BesideSteps(
            card=card,
            steps=tuple(read),
            sentence=f"{_count(len(read))} of card {name} read as the car was "
            f"({car.illuminant}/{car.observer}°, {car.geometry}). Read its cleared steps like "
            "that, each at the same angles.",
        )
    return _placed(file, card, car, read, shared)


def _placed(
    file: RecordFile,
    card: Card,
    car: Reading,
    read: dict[int, Reading],
    shared: list[int | None],
) -> BesideSteps:
    from colour.let_down import along_steps
    from colour.words import directions, words

    policy = policy_in_force(file, card.finish_id)
    steps = [[mean_lab(_at(reading, angle)) for angle in shared] for reading in read.values()]
    wanted = [mean_lab(_at(car, angle)) for angle in shared]
    doubts = [[_doubt(one, angle) for angle in shared] for one in (*read.values(), car)]
    known = all(value is not None for row in doubts for value in row)
    place = along_steps(
        list(read),
        steps,
        wanted,
        step_uncertainty=doubts[:-1] if known else None,  # type: ignore[arg-type]
        colour_uncertainty=doubts[-1] if known else None,  # type: ignore[arg-type]
    )
    left = []
    for n, angle in enumerate(shared):
        l, a, b = (float(value) for value in place.difference[n])  # noqa: E741
        start = tuple(w - d for w, d in zip(wanted[n], (l, a, b), strict=True))
        left.append(
            Left(
                angle=angle,
                delta_e_2000=float(place.delta_e_2000[n]),
                limit=policy.limit_at(None, angle),
                difference=(l, a, b),
                words=words(start, wanted[n]) if directions(start, wanted[n]) else "",
            )
        )
    required = required_angles(file.get(Finish, card.finish_id), policy)
    lacking = tuple(angle for angle in required if angle not in shared)
    u = place.standard_uncertainty
    low = None if u is None else max(float(min(read)), place.coats - REACH * u)
    high = None if u is None else min(float(max(read)), place.coats + REACH * u)
    outside = place.before or place.after
    worst = max(left, key=lambda one: one.delta_e_2000 / one.limit)
    return BesideSteps(
        card=card,
        coats=place.coats,
        low=low,
        high=high,
        steps=tuple(read),
        left=tuple(left),
        lacking=lacking,
        sentence=_where(place.coats, low, high, list(read), place.before, place.after),
        remains=_remains(worst, outside, lacking),
    )


def _where(
    coats: float, low: float | None, high: float | None, steps: list[int], before: bool, after: bool
) -> str:
    if before and steps[0] == 0:
        return (
            "The car lies before step 0: it has no mid-coat by these readings, or its ground "
            "is another."
        )
    if before:
        return (
            f"The car lies before step {steps[0]}, the first that was read: it has fewer "
            "mid-coats, or its ground is another."
        )
    if after:
        return (
            f"The car lies past step {steps[-1]}, the last that was read. Spray more steps, "
            "or its ground is another."
        )
    if low is None or high is None:
        return (
            f"The car lies at about {coats:.1f} mid-coats. How surely is not known: read each "
            "step three times, lifting the instrument."
        )
    span = f"{coats:.1f} mid-coats, 90 % range {low:.1f} to {high:.1f}"
    on = [step for step in steps if low <= step <= high]
    if not on:
        below = max(step for step in steps if step <= coats)
        above = min(step for step in steps if step > coats)
        return f"The car lies between steps {below} and {above}: {span}."
    if len(on) == 1:
        return f"The car lies at step {on[0]}, as far as these readings tell: {span}."
    return (
        f"The car lies somewhere from step {on[0]} to {on[-1]}: {span}. Read the steps and the "
        "car again, more often."
    )


def _remains(worst: Left, outside: bool, lacking: tuple[int, ...]) -> str:
    at = "" if worst.angle is None else f" at {worst.angle}°"
    figure = f"{worst.delta_e_2000:.2f} is left{at}, limit {worst.limit:.2f}"
    said = f"With that many, {figure}." if not outside else f"Even there {figure}."
    if worst.delta_e_2000 > worst.limit:
        direction = f" The car is {worst.words}." if worst.words else ""
        said += f"{direction} No number of mid-coats takes that away."
    if lacking:
        listed = ", ".join(f"{angle}°" for angle in lacking)
        said += f" Nobody read all of it at {listed}, so whether it matches there is not known."
    return said


def _steps(file: RecordFile, card: Card) -> list[Zone]:
    zones = file.by(Zone, "card_id", card.root)
    return [zone for zone in zones if zone.state is ZoneState.LET_DOWN_STEP]


def _newest_alike(readings: Iterable[Reading], car: Reading) -> Reading | None:
    """The newest reading made under the car's conditions, of a surface under clear."""
    alike = [
        reading
        for reading in readings
        if reading.method is Method.INSTRUMENT
        and reading.stage.is_cleared
        and reading.illuminant.casefold() == car.illuminant.casefold()
        and reading.observer == car.observer
        and normal_geometry(reading.geometry) == normal_geometry(car.geometry)
        and reading.specular is car.specular
    ]
    return max(alike, key=lambda reading: reading.observed_at, default=None)


def _shared_angles(readings: list[Reading]) -> list[int | None]:
    first, *others = [[angle.angle for angle in reading.angles] for reading in readings]
    return [angle for angle in first if all(angle in other for other in others)]


def _at(reading: Reading, angle: int | None) -> AngleReading:
    return next(one for one in reading.angles if one.angle == angle)


def _doubt(reading: Reading, angle: int | None) -> float | None:
    return uncertainty_of_mean(reading, _at(reading, angle))


def _count(steps: int) -> str:
    return {0: "No step was", 1: "Only one step was"}.get(steps, f"{steps} steps were")
