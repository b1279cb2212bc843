"""The answers of the API as OpenAPI describes them; ``plain`` makes the JSON itself."""

from __future__ import annotations

from typing import Any, NotRequired

# pydantic reads the standard library's TypedDict from Python 3.12 on.
from typing_extensions import TypedDict

from service.domain.findings import Finding
from service.domain.lines import BatchLine, CardLine, JobLine, JointLine
from service.domain.metameric import UnderLights
from service.domain.records import cards, job, measuring, shop, spraying
from service.domain.records.base import JobRecord
from service.domain.terms import Role
from service.use_cases.ports import Receipt

__all__ = ["BatchLine", "CardLine", "JobLine", "JointLine"]

JOB_KINDS: tuple[type[JobRecord], ...] = tuple(
    value
    for module in (job, spraying, cards, measuring)
    for value in vars(module).values()
    if isinstance(value, type)
    and issubclass(value, JobRecord)
    and value.__module__ == module.__name__
)
"""Every kind of record of a job, by the order of the work."""


class Problem(TypedDict):
    """An error, as RFC 9457 has it; ``errors`` names each field that is wrong.

    ``refused`` gives every reason a photograph cannot be trusted, with its code.
    """

    type: str
    title: str
    status: int
    detail: str
    field: NotRequired[str]
    errors: NotRequired[list[dict[str, str]]]
    refused: NotRequired[list[dict[str, str]]]
    reference: NotRequired[str]


class Written(TypedDict):
    """What a change did: its receipt, the verdicts it led to, and what the job still wants.

    ``findings`` are the open findings of the job, the worst first, at most twenty.
    ``token`` is there once, when a token was given.
    """

    receipt: Receipt
    verdicts: list[measuring.Verdict]
    findings: list[Finding]
    token: NotRequired[str | None]


class Side(TypedDict):
    """One side of a joint: the place, the colour coats there, the card that stands for it."""

    panel_id: str
    area_id: str | None
    stack: list[list[str]]
    card_id: str | None
    why: str
    remedy: str


class JointWhole(TypedDict):
    """A joint with both its sides and its newest verdict."""

    id: str
    name: str
    kind: str
    gap: str
    sides: list[Side]
    verdict: measuring.Verdict | None


class JobWhole(TypedDict):
    """A whole job: its records by table, what it still wants, and its joints.

    Readings are without their `spectra` here; `spectra_at` lists the angles that have one (null
    for an instrument with one geometry). Ask for the reading or its card to have them.
    """

    job: job.Job
    released: bool
    records: dict[str, list[dict[str, Any]]]
    findings: list[Finding]
    joints: list[JointWhole]


class BatchWhole(TypedDict):
    """A batch with what was said of it, its cards, and how it looks under other lights.

    `under_lights` is null while there is no master or no reading to lay it beside; where the
    lights cannot be told it says `why_not`.
    """

    batch: spraying.Batch
    finish: job.Finish
    components: list[spraying.Component]
    coats: list[spraying.Coat]
    cards: list[cards.Card]
    verdicts: list[measuring.Verdict]
    under_lights: UnderLights | None


class Whereabouts(TypedDict):
    """Where a card is: in its slot, out with somebody, or missing."""

    place: str
    slot: str
    holder_id: str | None
    holder: str | None


class CardWhole(TypedDict):
    """A card with everything that is known of it."""

    card: cards.Card
    line: CardLine
    batch: spraying.Batch
    finish: job.Finish
    coats: list[spraying.Coat]
    bakes: list[spraying.Bake]
    finishings: list[spraying.Finishing]
    zones: list[cards.Zone]
    readings: list[measuring.Reading]
    eye_checks: list[measuring.EyeCheck]
    verdicts: list[measuring.Verdict]
    movements: list[cards.Movement]
    photos: list[cards.Photo]
    whereabouts: Whereabouts


class People(TypedDict):
    """The people of the shop."""

    people: list[shop.Person]


class Instruments(TypedDict):
    """The instruments of the shop."""

    instruments: list[shop.Instrument]


class CheckTiles(TypedDict):
    """The tiles the instruments are tried on, and what they read of them."""

    check_tiles: list[shop.CheckTile]
    tile_readings: list[shop.TileReading]


class Products(TypedDict):
    """The product sheets of the shop."""

    products: list[shop.Product]


class PhotoTargets(TypedDict):
    """The photo sheets and charts of the shop."""

    photo_targets: list[shop.PhotoTarget]


class WindowRead(TypedDict):
    """What lies in one window of a photographed sheet, under the sheet's own conditions."""

    lab: tuple[float, float, float]
    covariance: list[list[float]]
    pixels: int
    share_used: float
    texture: float
    outline: list[tuple[float, float]]


class PhotoDifference(TypedDict):
    """How the window `card` lies beside the window `master`, judged by the photograph alone."""

    delta_e_2000: float
    standard_uncertainty: float | None
    verdict: str
    words: str
    limit: float
    risk: float
    range_95: tuple[float, float] | None
    p_blends: float | None
    p_shows: float | None
    power_at_zero: float | None
    explanation: str | None
    next_step: str | None
    different_colour: bool


class CardOffered(TypedDict):
    """A card of the shop whose label is seen; say yourself which card lay in which window."""

    window: str | None
    code: str
    job_id: str
    card_id: str


class PhotoReading(TypedDict):
    """A photograph read, and nothing stored: every window, the fit, and what to be wary of.

    Points are pixels of the upright photograph. `covariance` is joint, in the order of `order`.
    """

    target: str
    values: str
    measurement: dict[str, str]
    size: tuple[int, int]
    outline: list[tuple[float, float]]
    windows: dict[str, WindowRead]
    order: list[str]
    covariance: list[list[float]]
    fit: dict[str, Any]
    difference: PhotoDifference | None
    warnings: list[dict[str, str]]
    codes: list[dict[str, Any]]
    offered: list[CardOffered]


class SpectrumFound(TypedDict):
    """The reflectance factors of one angle, shares of 1, one row a repeat."""

    angle: int | None
    wavelengths_nm: list[float]
    reflectance: list[list[float]]


class ReadingFound(TypedDict):
    """One reading of a readings file as it is stored, of the card and batch it is of.

    `angles` holds the repeats by angle, under an empty name for an instrument with one geometry.
    `samples` counts those of the file from 1. `on_record` is the reading that holds the same.
    """

    card: str
    card_id: str
    job_id: str
    work_order: str
    batch_id: str
    batch: int
    zone: str | None
    samples: list[int]
    name: str
    stage: str
    illuminant: str
    observer: int
    geometry: str | None
    specular: str | None
    instrument: str | None
    surface_temperature_c: float | None
    angles: dict[str, list[list[float]]]
    spectra: list[SpectrumFound]
    on_record: str | None


class SampleProblem(TypedDict):
    """Why a sample cannot be stored; `missing` names what the query must state."""

    kind: str
    sample: int | None
    name: str
    message: str
    missing: list[str]


class ReadingsFileTaken(TypedDict):
    """A readings file: what it holds for which cards, how much of it was stored, and the verdicts.

    `unsaid` names what the file leaves open and the query must state; `more_problems` counts those
    beyond the first 200.
    """

    readings: list[ReadingFound]
    warnings: list[dict[str, str]]
    problems: list[SampleProblem]
    more_problems: int
    unsaid: list[str]
    stored: int
    receipt: Receipt | None
    verdicts: list[measuring.Verdict]


class Me(TypedDict):
    """Who a request comes from, and in which roles."""

    person: shop.Person
    roles: list[Role]
    acting_as: Role | None


class Codes(TypedDict):
    """Fresh card codes for labels."""

    codes: list[str]


class Values(TypedDict):
    """Values in use."""

    values: list[str]


class Health(TypedDict):
    """That the service answers."""

    status: str
    version: str
    shop: str | None


class StoredPhoto(TypedDict):
    """A stored photograph, with what attach-photo asks for."""

    sha256: str
    media_type: str
    size_bytes: int
    width: int
    height: int
