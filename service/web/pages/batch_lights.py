"""The part of a batch's page on other lights: where it matches the master, where it shows."""

from __future__ import annotations

from dataclasses import dataclass

from service.domain.metameric import UnderLights
from service.domain.record_file import RecordFile
from service.domain.records.spraying import Batch
from service.use_cases.under_lights import lights_of_batch
from service.web.context import PageContext

WHOSE = {
    "both": "neither card has a spectrum",
    "master": "the master has no spectrum",
    "card": "this card has no spectrum",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class LightShown:
    """One light: what is seen under it, and in a word whether that matches."""

    place: str
    name: str
    delta_e_2000: float
    bounds: tuple[float, float] | None
    index: float | None
    word: str
    settled: bool | None
    different: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LightsShown:
    """The block; with ``why_not`` only the quiet line ``short`` and that reason."""

    answer: str = ""
    angle: int | None = None
    limit: float = 0.0
    lights: tuple[LightShown, ...] = ()
    where: str = ""
    next_step: str = ""
    sureness: str = ""
    short: str = ""
    why_not: str = ""


def lights_shown(here: PageContext, file: RecordFile, batch: Batch) -> LightsShown | None:
    """The block of a batch; None while there is nothing to lay it beside."""
    found = lights_of_batch(here.store, file, batch.root)
    return None if found is None else _shown(found)


def _shown(found: UnderLights) -> LightsShown:
    if found.why_not:
        short = WHOSE.get(found.missing_spectrum, "it was not read as the master was")
        return LightsShown(short=short, why_not=found.why_not)
    stage = found.stage.value.replace("_", ", ") if found.stage else ""
    at = f" at {found.angle}°" if found.angle is not None else ""
    return LightsShown(
        answer=found.answer,
        angle=found.angle,
        limit=found.limit,
        lights=tuple(
            LightShown(
                place=light.place,
                name=f"{light.illuminant}/{found.observer}°",
                delta_e_2000=light.delta_e_2000,
                bounds=_bounds(light.low, light.high),
                index=None if light is found.reference else light.index_2000,
                word="matches" if light.matches else "shows",
                settled=light.settled,
                different=light.different,
            )
            for light in found.lights
        ),
        where=f"{stage}{at}",
        next_step=found.next_step,
        sureness=found.sureness,
    )


def _bounds(low: float | None, high: float | None) -> tuple[float, float] | None:
    return None if low is None or high is None else (low, high)
