"""The stored cards nearest to a reading of the car."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from service.domain.lookups import mean_lab, shown_angle, uncertainty_of_mean
from service.domain.nearness import AtAngle, at_angles, doubts_of_differences
from service.domain.records.measuring import AngleReading, Lab, Reading
from service.domain.records.shop import Instrument
from service.domain.refused import Invalid, Refused
from service.use_cases.nearest import (
    Apart,
    Nearest,
    ReadLike,
    nearest_at_angles,
    nearest_to_reading,
)
from service.web.access import ANYBODY_HERE, page_rules
from service.web.context import Frame, Here, PageContext
from service.web.filters import MINUS
from service.web.forms import Form
from service.web.pages.angle_rows import rows_of
from service.web.pages.bench_forms import Filled, Option
from service.web.pages.bench_reading import GEOMETRIES, ILLUMINANTS, OBSERVERS
from service.web.pages.bench_swatches import SwatchShown
from service.web.pages.compare import address
from service.web.pages.rack_hits import CardHit, card_hit
from service.web.pages.rack_swatches import swatch_of_lab

router = APIRouter()
page_rules({("GET", "/rack/nearest"): ANYBODY_HERE})

NEAR = 8
FIELDS = (
    *("l", "a", "b", "illuminant", "observer", "geometry", "angle", "specular", "uncertainty"),
    "further",
)
ANGLES = (
    Option("", "One geometry, no angles"),
    *(Option(str(at), f"{at}°".replace("-", MINUS)) for at in (45, -15, 15, 25, 75, 110)),
)
SPECULAR = (
    Option("", "Either"),
    Option("included", "Included"),
    Option("excluded", "Excluded"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingAsked:
    """A reading of the car as it was typed in, with its conditions.

    ``lab`` is at ``angle``, by which cards are found; ``further`` is what was read beside it.
    """

    lab: Lab
    illuminant: str
    observer: int
    geometry: str
    angle: int | None
    specular: str
    uncertainty: float | None
    further: tuple[AtAngle, ...] = ()

    @property
    def angles(self) -> tuple[AtAngle, ...]:
        """All of it, that by which cards are found first."""
        return (AtAngle(self.angle, self.lab, self.uncertainty), *self.further)


@dataclass(frozen=True, slots=True, kw_only=True)
class NearHit:
    """A card near the reading, and how it lies beside the car at the angle it differs most at.

    ``others`` are the further angles both were read at, ``lacking`` those the card was not.
    """

    hit: CardHit
    delta_e_2000: float
    doubt: float | None
    words: str
    angle: int | None = None
    others: tuple[Apart, ...] = ()
    lacking: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class NearestPage:
    """The reading, and the cards nearest to it."""

    frame: Frame
    form: Filled
    reading: ReadingAsked | None
    swatch: SwatchShown | None
    near: tuple[NearHit, ...]
    all_looked_at: bool
    compare_href: str
    illuminants: tuple[Option, ...]
    observers: tuple[Option, ...]
    geometries: tuple[Option, ...]
    angles: tuple[Option, ...]
    specular: tuple[Option, ...]


@router.get("/rack/nearest", name="nearest")
def nearest(here: Here) -> Response:
    """The form, and under it what is nearest once a reading was typed."""
    form = _form(here.request)
    frame = here.frame("rack")
    if not form.sent:
        return here.render("nearest.html", _page(here, frame, form, None))
    try:
        asked = reading_asked(form)
        page = _page(here, frame, form, asked)
    except Refused as refusal:
        return here.refused(
            form, refusal, "nearest.html", lambda frame: _page(here, frame, form, None), "rack"
        )
    return here.render("nearest.html", page)


def reading_asked(form: Form) -> ReadingAsked:
    """The reading a form holds; refuses what is missing, for conditions are never guessed."""
    lab = (_needed(form, "l"), _needed(form, "a"), _needed(form, "b"))
    angle = form.number("angle")
    try:
        AngleReading(repeats=(lab,), angle=None if angle is None else round(angle))
    except Invalid as invalid:
        raise Invalid("l", str(invalid)) from invalid
    uncertainty = form.number("uncertainty")
    if uncertainty is not None and not 0 < uncertainty <= 20:
        raise Invalid(
            "uncertainty", f"{uncertainty:g} cannot be an uncertainty. Enter one above 0, to 20."
        )
    return ReadingAsked(
        further=_further(form, angle, uncertainty),
        lab=lab,
        illuminant=form.needed("illuminant"),
        observer=_observer(form.needed("observer")),
        geometry=form.needed("geometry"),
        angle=None if angle is None else round(angle),
        specular=form.value("specular"),
        uncertainty=uncertainty,
    )


def _further(form: Form, angle: float | None, uncertainty: float | None) -> tuple[AtAngle, ...]:
    """What was read at further angles; each once, and only beside the 45° cards are found by."""
    text = form.value("further")
    if not text:
        return ()
    if angle != 45:
        raise Invalid(
            "angle", "Cards read at several angles are found by their 45°. Type that reading above."
        )
    rows = rows_of("further", text, [None])
    angles = [at for at, _ in rows]
    for at in angles:
        if at is None or at == 45 or angles.count(at) > 1:
            shown = "No angle stands" if at is None else f"{at}° stands twice"
            raise Invalid(
                "further", f"{shown} in it. Type each further angle once, in a row of its own."
            )
    try:
        for at, lab in rows:
            AngleReading(repeats=(lab,), angle=at)
    except Invalid as invalid:
        raise Invalid("further", str(invalid)) from invalid
    return tuple(AtAngle(at, lab, uncertainty) for at, lab in rows)


def _needed(form: Form, name: str) -> float:
    number = form.number(name)
    if number is None:
        shown = name.upper() if name == "l" else name
        raise Invalid(name, f"{shown}* is missing. Type what the instrument shows.")
    return number


def _observer(text: str) -> int:
    if text not in ("2", "10"):
        raise Invalid("observer", f"The observer cannot be {text!r}. It is 2 or 10.")
    return int(text)


def _form(request: Request) -> Form:
    given = {name: [value] for name, value in request.query_params.items() if name in FIELDS}
    return Form(given if any(value[0] for value in given.values()) else None)


def _page(here: PageContext, frame: Frame, form: Form, asked: ReadingAsked | None) -> NearestPage:
    found = _nearest(here, asked) if asked else Nearest(cards=())
    near = tuple(_hits(here, asked.angles, found)) if asked else ()
    instruments = here.store.shop().all(Instrument)
    used = (asked.geometry,) if asked else ()
    own = (instrument.geometry for instrument in instruments)
    geometries = dict.fromkeys(name for name in (*own, *GEOMETRIES, *used) if name)
    return NearestPage(
        frame=frame,
        form=Filled(form=form, start=_start(instruments)),
        reading=asked,
        swatch=swatch_of_lab(asked.lab, asked.illuminant, asked.observer) if asked else None,
        near=near,
        all_looked_at=found.all_looked_at,
        compare_href=address(here, [one.hit.line.code for one in near]) if len(near) > 1 else "",
        illuminants=(Option("", "State it"), *ILLUMINANTS),
        observers=OBSERVERS,
        geometries=(Option("", "State it"), *(Option(name, name) for name in geometries)),
        angles=ANGLES,
        specular=SPECULAR,
    )


def _start(instruments: list[Instrument]) -> dict[str, str]:
    """The one instrument's own geometry; what was measured under is never guessed."""
    return {"geometry": instruments[0].geometry} if len(instruments) == 1 else {}


def nearest_to(here: PageContext, reading: Reading) -> str:
    """The address of the cards nearest to a reading on record."""
    angle = shown_angle(reading)
    fields = {name: f"{value:.4f}" for name, value in zip("lab", mean_lab(angle), strict=True)}
    uncertainty = uncertainty_of_mean(reading, angle)
    further = [
        " ".join([str(one.angle), *(f"{value:.4f}" for value in mean_lab(one))])
        for one in reading.angles
        if one is not angle and angle.angle == 45
    ]
    return here.link(
        "nearest",
        illuminant=reading.illuminant,
        observer=reading.observer,
        geometry=reading.geometry,
        angle=angle.angle,
        specular=reading.specular,
        uncertainty=f"{uncertainty:.4f}" if uncertainty else None,
        further="\n".join(further) or None,
        **fields,
    )


def near_hits(here: PageContext, *, reading: Reading, count: int) -> tuple[NearHit, ...]:
    """The stored cards nearest to a reading on record, by the angle at which they differ most."""
    found = nearest_to_reading(here.queries, reading, count)
    return tuple(_hits(here, at_angles(reading), found))


def _hits(here: PageContext, read: Sequence[AtAngle], found: Nearest) -> Iterable[NearHit]:
    from colour.words import words

    shop = here.store.shop()
    at = {one.angle: one for one in read}
    doubts = doubts_of_differences(
        [
            (
                at[near.worst.angle].lab,
                at[near.worst.angle].standard_uncertainty,
                near.worst.lab,
                near.worst.standard_uncertainty,
            )
            for near in found.cards
        ]
    )
    for near, doubt in zip(found.cards, doubts, strict=True):
        yield NearHit(
            hit=card_hit(here, shop, near.line),
            delta_e_2000=near.worst.delta_e_2000,
            doubt=doubt,
            words=words(at[near.worst.angle].lab, near.worst.lab),
            angle=near.worst.angle if len(read) > 1 else None,
            others=tuple(
                sorted(
                    (one for one in near.angles if one is not near.worst),
                    key=lambda one: one.angle or 0,
                )
            ),
            lacking=near.lacking,
        )


def _nearest(here: PageContext, asked: ReadingAsked) -> Nearest:
    like = ReadLike(
        illuminant=asked.illuminant,
        observer=asked.observer,
        geometry=asked.geometry,
        specular=asked.specular,
    )
    return nearest_at_angles(here.queries, asked.angles, like, NEAR)
