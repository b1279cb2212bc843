"""Photographs of cards, logged as readings of one frame.

A photograph that is logged is read again from its stored bytes; what a client says of it is only
which card lay in which window, and how far it was finished.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING, Any, ClassVar

from service.domain.record_file import RecordFile
from service.domain.records.cards import Card, Photo
from service.domain.records.job import Repair
from service.domain.records.measuring import AngleReading, Frame
from service.domain.records.shop import PhotoTarget
from service.domain.refused import Invalid
from service.domain.terms import Method, Stage
from service.domain.version import program_version
from service.use_cases.command import EVERYONE, Command, part_id, perform, stamp, verb
from service.use_cases.judging import judge_after_reading
from service.use_cases.measuring import Measured, reading_of
from service.use_cases.photo_reading import part_of, read_photograph
from service.use_cases.ports import PhotoFiles, PhotoReader, Receipt, Store, Unit

if TYPE_CHECKING:
    from colour.photo.outcome import PhotoRead, WindowRead
    from service.domain.terms import Role

GEOMETRY = "photograph"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lying:
    """Which card, and which of its zones, lay in a window, and how far it was finished."""

    window: str
    card_id: str
    stage: Stage
    zone_id: str | None = None
    surface_temperature_c: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPhotograph(Command):
    """A stored photograph, and what a person says of it; the numbers are read from its bytes.

    Windows that are not named hold no card of this job. ``photo_target_id`` is the registered
    sheet or chart, ``paper`` ("a4" or "letter") the plain sheet where its codes cannot be read;
    with neither it is the one its codes tell. ``corners`` are the target's in the upright
    photograph, where its markers could not be found.
    """

    job_id: str
    photo_sha256: str
    lying: tuple[Lying, ...]
    photo_target_id: str | None = None
    paper: str | None = None
    corners: tuple[tuple[float, float], ...] | None = None
    caption: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """The stored file: its kind and size."""

    media_type: str
    size_bytes: int
    width: int
    height: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LogPhotograph(NewPhotograph):
    """A photograph that was read, with what was read; made by ``as_read`` only."""

    WORKED_OUT: ClassVar[frozenset[str]] = frozenset({"read", "taken"})

    read: PhotoRead
    taken: Taken


def job_of_cards(store: Store, job_ids: Iterable[str]) -> str:
    """The job a photograph of cards belongs to: theirs, or the repair of the others' job.

    Raises
    ------
    Invalid
        When the cards are of jobs that have nothing to do with each other.
    """
    found = list(dict.fromkeys(job_ids))
    for job_id in found:
        repairs = store.job(job_id).all(Repair)
        stored = {repairs[-1].stored_job_id} if repairs else set()
        if set(found) <= {job_id} | stored:
            return job_id
    raise Invalid(
        "lying",
        "The cards are of jobs that have nothing to do with each other. "
        "Photograph the cards of one job, or of a repair and the job it goes back to.",
    )


def as_read(
    store: Store, reader: PhotoReader, photos: PhotoFiles, said: NewPhotograph
) -> LogPhotograph:
    """Read the stored bytes of a photograph, for what a person said of it to be logged.

    Raises
    ------
    Refused
        When there is no such photograph, or it cannot be trusted.
    """
    if not photos.has(said.photo_sha256):
        raise Invalid(
            "photo_sha256",
            f"No photograph is stored as {said.photo_sha256!r}. Send the file first.",
        )
    content = photos.get(said.photo_sha256)
    read = read_photograph(
        store.shop(),
        reader,
        content,
        photo_target_id=said.photo_target_id,
        paper=said.paper,
        corners=said.corners,
    )
    described = reader.describe(content)
    taken = Taken(
        media_type=described.media_type,
        size_bytes=len(content),
        width=described.width,
        height=described.height,
    )
    given = {field.name: getattr(said, field.name) for field in fields(NewPhotograph)}
    return LogPhotograph(**given, read=read, taken=taken)


def log_photographed(
    store: Store,
    reader: PhotoReader,
    photos: PhotoFiles,
    person_id: str,
    said: NewPhotograph,
    acting_as: Role | None = None,
) -> Receipt:
    """Read a stored photograph and record what its windows show of the cards named."""
    return perform(store, person_id, as_read(store, reader, photos, said), acting_as)


@verb(*EVERYONE, doing="log a photograph of cards")
def log_photograph(unit: Unit, command: LogPhotograph) -> None:
    """Record the windows of a photograph as readings of one frame, then judge by each."""
    windows = _windows(command)
    file = unit.job(command.job_id)
    lent = _stored_file(unit, file)
    frame_id = stamp(unit, command)["id"]
    read = command.read
    cards = [
        file.find(Card, lying.card_id) or (lent or file).get(Card, lying.card_id)
        for lying in command.lying
    ]
    readings = [
        reading_of(
            unit,
            command,
            file,
            _measured(command, lying, window),
            f"window {window.name}",
            frame_id,
            lent=lent if card.job_id != file.chain else None,
        )
        for lying, window, card in zip(command.lying, windows, cards, strict=True)
    ]
    sheet = next((s for s in unit.shop().all(PhotoTarget) if s.name == read.target), None)
    unit.add(
        Frame(
            **stamp(unit, command),
            job_id=file.chain,
            reading_ids=tuple(reading.root for reading in readings),
            covariance=part_of(read, [window.name for window in windows]),
            photo_sha256=command.photo_sha256,
            windows=tuple(window.name for window in windows),
            target=read.target,
            photo_target_id=sheet.root if sheet else None,
            evidence=_evidence(command),
        )
    )
    unit.add(*readings)
    for card in dict.fromkeys(card.root for card in cards if card.job_id == file.chain):
        _attach(unit, command, file, card)
    for reading in readings:
        if unit.job(file.chain).find(Card, reading.card_id) is not None:
            judge_after_reading(unit, command, unit.job(file.chain), reading)


def _windows(command: LogPhotograph) -> list[WindowRead]:
    """The windows the cards lay in, as they were read."""
    if not command.lying:
        raise Invalid("lying", "No window holds a card. Say which card lay in which window.")
    found = []
    for lying in command.lying:
        window = command.read.window(lying.window)
        if window is None:
            names = ", ".join(one.name for one in command.read.windows)
            raise Invalid(
                "lying", f"The sheet has no window {lying.window!r}. Its windows are: {names}."
            )
        found.append(window)
    places = [lying.window for lying in command.lying]
    if len(set(places)) != len(places):
        raise Invalid("lying", "A window holds two cards. Give each window one card.")
    surfaces = [(lying.card_id, lying.zone_id) for lying in command.lying]
    if len(set(surfaces)) != len(surfaces):
        raise Invalid(
            "lying", "A card stands in two windows. Give it one window, or name its zones."
        )
    return found


def _stored_file(unit: Unit, file: RecordFile) -> RecordFile | None:
    """The file of the job a repair goes back to: its cards are photographed beside the new."""
    repairs = file.all(Repair)
    return unit.job(repairs[-1].stored_job_id) if repairs else None


def _measured(command: LogPhotograph, lying: Lying, window: WindowRead) -> Measured:
    read = command.read
    return Measured(
        stage=lying.stage,
        illuminant=read.illuminant,
        observer=observer_of(read.observer),
        geometry=GEOMETRY,
        method=Method.PHOTOGRAPH,
        angles=(AngleReading(repeats=(window.lab,), covariance=window.covariance),),
        card_id=lying.card_id,
        zone_id=lying.zone_id,
        surface_temperature_c=lying.surface_temperature_c,
        source=f"photograph {command.photo_sha256[:12]}, window {window.name}",
    )


def observer_of(text: str) -> int:
    """The observer of a target as a number of degrees."""
    digits = text.strip().rstrip("°").strip()
    if digits not in ("2", "10"):
        raise Invalid(
            "observer",
            f"The target's observer is {text!r}. Write 2 or 10 under its measurement.",
        )
    return int(digits)


def _evidence(command: LogPhotograph) -> str:
    read = command.read
    held: dict[str, Any] = {
        "target": read.target,
        "values": read.values,
        "measurement": {"illuminant": read.illuminant, "observer": read.observer},
        "size": list(read.size),
        "outline": [list(point) for point in read.outline],
        "corners": None if command.corners is None else [list(p) for p in command.corners],
        "fit": asdict(read.fit),
        "windows": {
            window.name: {
                "pixels": window.pixels,
                "share_used": window.share_used,
                "texture": window.texture,
                "outline": [list(point) for point in window.outline],
            }
            for window in read.windows
        },
        "warnings": [asdict(one) for one in read.warnings],
        "codes": [{"text": code.text, "window": code.window} for code in read.codes],
        "program_version": program_version(),
    }
    return json.dumps(held, sort_keys=True, separators=(",", ":"), ensure_ascii=False)


def _attach(unit: Unit, command: LogPhotograph, file: RecordFile, card_id: str) -> None:
    """Let the photograph be seen with the card, unless it is already."""
    attached = unit.job(file.chain).by(Photo, "card_id", card_id)
    if any(photo.sha256 == command.photo_sha256 for photo in attached):
        return
    made = stamp(unit, command)
    made["id"] = part_id(command.id, f"photo {card_id}")
    unit.add(
        Photo(
            **made,
            job_id=file.chain,
            card_id=card_id,
            sha256=command.photo_sha256,
            media_type=command.taken.media_type,
            size_bytes=command.taken.size_bytes,
            width=command.taken.width,
            height=command.taken.height,
            caption=command.caption or f"On {command.read.target}",
        )
    )


def evidence_of(frame: Frame) -> Mapping[str, Any]:
    """What the reading of a photograph rests on, as plain data."""
    held: Mapping[str, Any] = json.loads(frame.evidence)
    return held
