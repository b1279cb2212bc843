"""The angles a finish is judged at, and the limit at each: ready sets, or typed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial

from service.domain.records.job import Finish, Policy
from service.domain.refused import Invalid
from service.web.filters import MINUS
from service.web.forms import Form
from service.web.pages.bench_forms import Gathering, Option

OTHERS = "others"
NO_ANGLES = "none"
LIMIT = "angle_limit."


def angles_text(angles: Iterable[int]) -> str:
    """−15, 15, 25: as a person types a set of angles."""
    return ", ".join(str(angle) for angle in angles).replace("-", MINUS)


def ready_sets(finish: Finish) -> tuple[Option, ...]:
    """The sets in common use, and that somebody may type another."""
    from colour.angles import FIVE_ANGLES, METAL_FLAKE, MIDDLE, SIX_ANGLES

    one = Option(NO_ANGLES, "One geometry", "a solid; no angles")
    if finish.kind.has_flop:
        one = Option(str(MIDDLE), f"{MIDDLE} alone", "sees no flop")
    return (
        one,
        Option(_key(METAL_FLAKE), angles_text(METAL_FLAKE), "metal flake, ASTM E2194"),
        Option(_key(FIVE_ANGLES), angles_text(FIVE_ANGLES), "effect paints, five angles"),
        Option(_key(SIX_ANGLES), angles_text(SIX_ANGLES), "pearls, with the other side"),
        Option(OTHERS, "Others", "typed below"),
    )


def start_of_angles(policy: Policy, finish: Finish) -> dict[str, str]:
    """What the fields start with."""
    key = _key(policy.required_angles)
    ready = key in {option.value for option in ready_sets(finish)}
    start = {
        "angle_set": key if ready else OTHERS,
        "angles_typed": "" if ready else angles_text(policy.required_angles),
    }
    return start | {f"{LIMIT}{angle}": f"{limit:g}" for angle, limit in policy.angle_limits.items()}


def required_of(form: Form, policy: Policy, finish: Finish) -> tuple[int, ...]:
    """The angles that were chosen or typed."""
    chosen, text = form.value("angle_set"), form.value("angles_typed")
    try:
        typed = _angle_set(text)
    except ValueError as error:
        raise Invalid("angles_typed", str(error)) from error
    if chosen == OTHERS:
        if not typed:
            raise Invalid("angles_typed", "No angle was typed. Type them, or pick a ready set.")
        return typed
    ready = {option.value for option in ready_sets(finish)}
    if chosen not in ready:
        raise Invalid("angle_set", "The angles are missing. Pick a set, or type others.")
    picked = () if chosen == NO_ANGLES else _angle_set(chosen)
    # What was typed and not picked must not be lost without a word; what stood there before may.
    if typed and typed not in (picked, policy.required_angles):
        raise Invalid(
            "angles_typed",
            f"{angles_text(typed)} was typed and {angles_text(picked) or 'one geometry'} picked. "
            "Pick Others, or empty this field.",
        )
    return picked


def angle_limits_of(form: Form, gathering: Gathering) -> dict[str, float]:
    """The limits that were typed at single angles."""
    found = {}
    for angle in _angles_of_fields(form):
        limit = gathering.take(partial(_limit, form, angle), None)
        if limit is not None:
            found[str(angle)] = limit
    return found


def angles_asked(form: Form, policy: Policy) -> tuple[int, ...]:
    """The angles to ask a limit for: those of the common sets, those needed, those typed."""
    from colour.angles import SIX_ANGLES

    typed: Sequence[int] = ()
    try:
        typed = _angle_set(form.value("angles_typed"))
    except ValueError:
        pass  # said at its own field
    held = (int(angle) for angle in policy.angle_limits)
    sent = _angles_of_fields(form)
    return tuple(sorted({*SIX_ANGLES, *policy.required_angles, *held, *typed, *sent}))


def _limit(form: Form, angle: int) -> float | None:
    name = f"{LIMIT}{angle}"
    limit = form.number(name)
    if limit is not None and not 0.05 <= limit <= 5:
        raise Invalid(name, f"The limit at {angle}° cannot be {limit:g}. Enter 0.05 to 5.")
    return limit


def _angles_of_fields(form: Form) -> list[int]:
    from colour.angles import aspecular_degrees

    found = []
    for name in form.names(LIMIT):
        try:
            found.append(aspecular_degrees(name.removeprefix(LIMIT)))
        except ValueError:
            continue  # no field of this page has such a name
    return sorted(set(found))


def _angle_set(text: str) -> tuple[int, ...]:
    from colour.angles import angle_set

    return angle_set(text)


def _key(angles: Iterable[int]) -> str:
    return " ".join(str(angle) for angle in sorted(angles)) or NO_ANGLES
