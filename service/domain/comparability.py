"""Like with like: what stands against comparing two readings, all of it at once.

Three grades, which a finish's policy may move: ``stops`` (the numbers do not belong together),
``only_cannot_tell`` (they do, but the paint under them was not treated alike), ``noted`` (said,
and widened when the shop has a figure for it).
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import timedelta
from enum import StrEnum
from math import atan2, degrees, hypot

from service.domain.ageing import reasons_of_age
from service.domain.angles_read import angles_read, reasons_of_angles
from service.domain.instruments import reasons_of_instruments
from service.domain.lookups import mean_lab, policy_in_force, shown_angle
from service.domain.record_file import RecordFile
from service.domain.records.job import EFFECT_ANGLES, Finish, Policy
from service.domain.records.measuring import Reading
from service.domain.specimens import Specimen
from service.domain.terms import CoatRole, HidingMark, Method, Stage


class Grade(StrEnum):
    """How much a reason weighs."""

    STOPS = "stops"
    ONLY_CANNOT_TELL = "only_cannot_tell"
    NOTED = "noted"


@dataclass(frozen=True, slots=True)
class Reason:
    """One thing that stands against a comparison, with what to do about it."""

    code: str
    grade: Grade
    text: str
    remedy: str


GRADES: Mapping[str, Grade] = {
    "unlike_illuminant": Grade.STOPS,
    "unlike_observer": Grade.STOPS,
    "unlike_geometry": Grade.STOPS,
    "unlike_specular": Grade.STOPS,
    "unlike_angle": Grade.STOPS,
    "unlike_clear": Grade.STOPS,
    "wet": Grade.STOPS,
    "short_of_hiding": Grade.ONLY_CANNOT_TELL,
    "unlike_coats": Grade.ONLY_CANNOT_TELL,
    "unlike_ground": Grade.ONLY_CANNOT_TELL,
    "never_baked": Grade.ONLY_CANNOT_TELL,
    "warm": Grade.ONLY_CANNOT_TELL,
    "past_calibration": Grade.ONLY_CANNOT_TELL,
    "other_instrument_unknown": Grade.ONLY_CANNOT_TELL,
    "angle_missing": Grade.ONLY_CANNOT_TELL,
    "unlike_polish": Grade.NOTED,
    "extra_coat": Grade.NOTED,
    "temperature_unknown": Grade.NOTED,
    "other_instrument": Grade.NOTED,
    "instrument_not_named": Grade.NOTED,
    "read_long_apart": Grade.NOTED,
    "aged_card": Grade.NOTED,
}
"""The shop's starting grades; a policy's ``grades`` come before them."""

DIRECTIONAL = ("45:0", "0:45", "45:c:0", "45a:0", "45c:0", "multi-angle")

LEAST: Mapping[str, Grade] = {
    "unlike_angle": Grade.ONLY_CANNOT_TELL,
    "angle_missing": Grade.ONLY_CANNOT_TELL,
}
"""What no policy may make weigh less: nothing blends at an angle nobody looked from."""

MEASURING_TEMPERATURE_C = 23.0
"""ISO 3270: 23 °C, the standard temperature for testing paints."""
WARM_BY_C = 3.0
"""Apart by more than this, reds to yellows read differently by about 0.3 (standards on
thermochromism of ceramic tiles); a suggestion, not a standard's figure."""
WARM_BY_C_OTHER_HUES = 10.0
COOLING = timedelta(hours=1)
"""How long after a bake a card of unknown temperature counts as warm; common practice, no
source: metal leaves the oven near 32 °C and is let cool to about 21 °C."""
COOLING_WARM_HUES = timedelta(hours=2)


def required_angles(finish: Finish, policy: Policy) -> tuple[int, ...]:
    """The angles a verdict needs; empty for a solid judged at one geometry."""
    if policy.required_angles:
        return policy.required_angles
    return EFFECT_ANGLES if finish.kind.has_flop else ()


def grade_of(policy: Policy, code: str) -> Grade:
    """How much a reason weighs for a finish: as its shop has it, but never less than it must."""
    grade = Grade(policy.grades.get(code, GRADES[code]))
    return min(grade, LEAST.get(code, grade), key=list(Grade).index)


def reasons_against(
    file: RecordFile,
    finish: Finish,
    a: Specimen,
    b: Specimen,
    together: tuple[Sequence[Reading], Sequence[Reading]] | None = None,
) -> list[Reason]:
    """Everything that stands against comparing ``b`` with ``a``, heaviest first.

    ``together`` are the readings of each that are taken together, where there are several; what
    one of them lacks, an angle, another may have.
    """
    of_a, of_b = together or ([a.reading], [b.reading])
    policy = policy_in_force(file, finish.root)
    found = [
        *_conditions(a, b),
        *reasons_of_angles(
            required_angles(finish, policy), a, b, angles_read(of_a), angles_read(of_b)
        ),
        *_treatment(a, b),
        *_coats(finish, a, b),
        *_warmth(a, b),
        *reasons_of_instruments(a, b),
        *reasons_of_age(a, b),
    ]
    graded = [
        Reason(
            code,
            grade_of(policy, code),
            text[:1].upper() + text[1:],
            remedy,
        )
        for code, text, remedy in found
    ]
    return sorted(graded, key=lambda reason: list(Grade).index(reason.grade))


Found = tuple[str, str, str]


def normal_geometry(geometry: str) -> str:
    """One spelling for a geometry: 45/0, 45°:0° and 45:0 are the same."""
    return re.sub(r"[/\\|]", ":", re.sub(r"[°\s*]", "", geometry.casefold()))


def _conditions(a: Specimen, b: Specimen) -> list[Found]:
    x, y = a.reading, b.reading
    if x.method is not y.method:
        return [_unlike_method(a, b), *_past_calibration(a, b)]
    found: list[Found] = []
    if x.illuminant.casefold() != y.illuminant.casefold():
        found.append(
            (
                "unlike_illuminant",
                f"{a.name} was read under {x.illuminant}, {b.name} under {y.illuminant}.",
                f"Set the instrument to {x.illuminant} and read {b.name} again.",
            )
        )
    if x.observer != y.observer:
        found.append(
            (
                "unlike_observer",
                f"{a.name} was read for the {x.observer}° observer, {b.name} for {y.observer}°.",
                f"Set the instrument to {x.observer}° and read {b.name} again.",
            )
        )
    # Directional geometries leave the gloss out, whatever a setting is called.
    directional = normal_geometry(x.geometry) in DIRECTIONAL
    if normal_geometry(x.geometry) != normal_geometry(y.geometry):
        found.append(
            (
                "unlike_geometry",
                f"{a.name} was read at {x.geometry}, {b.name} at {y.geometry}.",
                f"Read {b.name} with an instrument of geometry {x.geometry}.",
            )
        )
    elif x.specular is not y.specular and not directional:
        said = [r.specular or "not stated" for r in (x, y)]
        found.append(
            (
                "unlike_specular",
                f"The specular reflection was {said[0]} for {a.name} and {said[1]} for {b.name}.",
                f"Read {b.name} again with specular {x.specular or 'set as for ' + a.name}.",
            )
        )
    return [*found, *_past_calibration(a, b)]


def _unlike_method(a: Specimen, b: Specimen) -> Found:
    """A photograph against an instrument's reading: light and view are others, not only in name."""
    pictured, read = (a, b) if a.reading.method is Method.PHOTOGRAPH else (b, a)
    remedy = f"Read {pictured.name} with the instrument."
    if not (a.is_car or b.is_car):
        remedy = f"Photograph both cards on one sheet, or read {pictured.name} with the instrument."
    return (
        "unlike_geometry",
        f"{read.name} was read by an instrument ({read.reading.geometry}) and {pictured.name} from "
        "a photograph, and a photograph compares only what lies in it.",
        remedy,
    )


def _past_calibration(a: Specimen, b: Specimen) -> list[Found]:
    return [
        (
            "past_calibration",
            f"The instrument was past its calibration when it read {one.name}.",
            f"Calibrate it and read {one.name} again.",
        )
        for one in (a, b)
        if one.reading.past_calibration
    ]


def _treatment(a: Specimen, b: Specimen) -> list[Found]:
    x, y = a.reading.stage, b.reading.stage
    found: list[Found] = [
        ("wet", f"{one.name} was wet when it was read.", f"Let {one.name} dry and read it again.")
        for one in (a, b)
        if one.reading.stage is Stage.WET
    ]
    if x.is_cleared != y.is_cleared:
        bare = b if x.is_cleared else a
        found.append(
            (
                "unlike_clear",
                f"{bare.name} was read without clear and the other with it.",
                f"Clear {bare.name} and read it again, or compare the bare zones.",
            )
        )
    if x.is_cleared and y.is_cleared:
        raw = [one.name for one in (a, b) if not (one.baked or one.is_car)]
        if len(raw) == 1:
            found.append(
                (
                    "never_baked",
                    f"{raw[0]} was never baked and the other was.",
                    f"Bake {raw[0]} like the other, let it cool and read it again.",
                )
            )
        if (x is Stage.POLISHED) != (y is Stage.POLISHED):
            found.append(
                (
                    "unlike_polish",
                    "One was cut and polished, the other is as sprayed.",
                    "Compare like zones when both are there.",
                )
            )
    return found


def _coats(finish: Finish, a: Specimen, b: Specimen) -> list[Found]:
    if a.is_car or b.is_car:
        return []
    found: list[Found] = []
    hides = {one.name: one.hides(finish) for one in (a, b)}
    for one in (a, b):
        logged = one.coat_counts()
        base = logged.get(CoatRole.BASE, 0)
        short = finish.coats_to_hide is not None and base < finish.coats_to_hide
        if not logged and finish.kind.has_flop:
            found.append(
                (
                    "unlike_coats",
                    f"Nobody logged the coats of {one.name}.",
                    f"Log the coats {one.name} got.",
                )
            )
        elif one.hiding_mark is HidingMark.SHOWS_THROUGH or (
            logged and short and hides[one.name] is not True
        ):
            found.append(
                (
                    "short_of_hiding",
                    f"{one.name} has {base} base coats, fewer than hide what lies under them.",
                    f"Spray {one.name} to hiding, or spray a new card with all its coats.",
                )
            )
    counts = a.coat_counts(), b.coat_counts()
    if counts[0] != counts[1] and all(counts):
        listed = " against ".join(
            " and ".join(f"{n} {role}" for role, n in sorted(count.items())) for count in counts
        )
        hidden = all(hides.values())
        if finish.kind.has_flop or not hidden:
            found.append(
                (
                    "unlike_coats",
                    f"The colour coats are unlike in number: {listed}.",
                    "Spray a card with the same coats.",
                )
            )
        else:
            found.append(
                (
                    "extra_coat",
                    f"The coats are unlike in number ({listed}), but both hide what is under them.",
                    "Nothing to do for a solid.",
                )
            )
    grounds = [one.ground_shade.strip().casefold() for one in (a, b)]
    if grounds[0] != grounds[1] and all(grounds) and not all(hides.values()):
        found.append(
            (
                "unlike_ground",
                f"The grounds differ ({a.ground_shade} and {b.ground_shade}) "
                "and nothing shows that they are hidden.",
                "Spray a card over the same ground, with a hiding mark.",
            )
        )
    return found


def _warmth(a: Specimen, b: Specimen) -> list[Found]:
    found: list[Found] = []
    _, a_star, b_star = mean_lab(shown_angle(a.reading))
    hue = degrees(atan2(b_star, a_star)) % 360
    strict = hypot(a_star, b_star) > 5 and (hue >= 330 or hue <= 110)
    allowed = WARM_BY_C if strict else WARM_BY_C_OTHER_HUES
    cooling = COOLING_WARM_HUES if strict else COOLING
    known = [one.reading.surface_temperature_c for one in (a, b)]
    warm: set[str] = set()
    for one, temperature in zip((a, b), known, strict=True):
        end = one.last_bake_end
        if temperature is not None:
            if temperature - MEASURING_TEMPERATURE_C > allowed:
                warm.add(one.name)
                found.append(
                    (
                        "warm",
                        f"{one.name} was at {temperature:g} °C when it was read.",
                        f"Let it cool to about {MEASURING_TEMPERATURE_C:g} °C and read it again.",
                    )
                )
        elif end is not None and one.reading.observed_at - end < cooling:
            minutes = round((one.reading.observed_at - end).total_seconds() / 60)
            warm.add(one.name)
            found.append(
                (
                    "warm",
                    f"{one.name} was read {minutes} min after its bake, its temperature unknown.",
                    "Let it cool, measure its temperature and read it again.",
                )
            )
    if None not in known and not warm:
        apart = abs((known[0] or 0) - (known[1] or 0))
        if apart > allowed:
            found.append(
                (
                    "warm",
                    f"{a.name} and {b.name} were read {apart:g} °C apart.",
                    "Read both at one temperature.",
                )
            )
    unknown = [
        one.name
        for one, temperature in zip((a, b), known, strict=True)
        if temperature is None and one.name not in warm
    ]
    if unknown:
        found.append(
            (
                "temperature_unknown",
                f"Nobody measured the temperature of {' or '.join(unknown)}.",
                "Measure the surface temperature with the colour, above all on reds to yellows.",
            )
        )
    return found
