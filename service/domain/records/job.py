"""Records of a job: its finishes, their policies, its panels and joints, and how it ends."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import ClassVar

from service.domain.records.base import JobRecord, check_range, check_text
from service.domain.refused import Invalid
from service.domain.terms import FinishKind, JointKind

DEFAULT_LIMIT = 0.8
DEFAULT_LIMIT_ORIGIN = (
    "0.8: half of the observers in a dental study saw this difference; set your own"
)
EFFECT_ANGLES = (15, 45, 110)
"""Aspecular degrees; three angles for metal flake (ASTM E2194)."""
DEFAULT_LIGHTS = ("A", "F11", "LED-B3")
"""Lamplight, a three-band fluorescent lamp and a white LED of CIE 15:2018."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job(JobRecord):
    """One vehicle or object under one work order; ``job_id`` is its own id."""

    table: ClassVar[str] = "jobs"

    work_order: str
    title: str
    note: str = ""

    def check(self) -> None:
        check_text("work_order", self.work_order, "The work order", 40)
        check_text("title", self.title, "The vehicle or object")


@dataclass(frozen=True, slots=True, kw_only=True)
class Finish(JobRecord):
    """One paint colour system on a job."""

    table: ClassVar[str] = "finishes"

    name: str
    kind: FinishKind
    colour_code: str = ""
    colour_name: str = ""
    ground_coat: str = ""
    ground_shade: str = ""
    clear: str = ""
    coats_to_hide: int | None = None

    def check(self) -> None:
        check_text("name", self.name, "The finish's name", 80)
        check_range("coats_to_hide", self.coats_to_hide, 1, 20, "The coats to hiding")


@dataclass(frozen=True, slots=True, kw_only=True)
class Policy(JobRecord):
    """What a finish is held to; the newest one is in force, earlier verdicts keep theirs.

    Limits are in CIEDE2000 units with k = 1. ``grades`` moves a comparability reason to another
    grade (``stops``, ``only_cannot_tell``, ``noted``); ``widening`` gives the standard
    uncertainty, in CIELAB units per channel, that a noted reason adds; ``card_to_panel`` is the
    shop's own figure for how far a card stands from its panel, likewise.

    ``angle_limits`` maps an angle, as text, to the limit against the master there, where it is
    not ``limit_master``; a joint's limit is larger or smaller there in the same proportion.
    ``lights`` are the illuminants a batch is tried under beside that of its readings.
    """

    table: ClassVar[str] = "policies"

    finish_id: str
    limit_master: float = DEFAULT_LIMIT
    limit_butt: float = DEFAULT_LIMIT
    limit_gap: float = DEFAULT_LIMIT
    limit_fade: float = DEFAULT_LIMIT
    limit_within: float = DEFAULT_LIMIT
    limit_origin: str = DEFAULT_LIMIT_ORIGIN
    required_angles: tuple[int, ...] = ()
    risk: float = 0.05
    planned_looks: int = 3
    card_to_panel: float | None = None
    grades: dict[str, str] = field(default_factory=dict)
    widening: dict[str, float] = field(default_factory=dict)
    angle_limits: dict[str, float] = field(default_factory=dict)
    lights: tuple[str, ...] = DEFAULT_LIGHTS

    def check(self) -> None:
        for kind in ("master", *JointKind):
            check_range(
                f"limit_{kind}", getattr(self, f"limit_{kind}"), 0.05, 5, f"The {kind} limit"
            )
        check_text("limit_origin", self.limit_origin, "Where the limit comes from")
        check_range("risk", self.risk, 0.001, 0.25, "The risk")
        check_range("planned_looks", self.planned_looks, 1, 10, "The number of planned looks")
        check_range("card_to_panel", self.card_to_panel, 0, 5, "The card-to-panel figure")
        if len(set(self.required_angles)) != len(self.required_angles):
            raise Invalid("required_angles", "An angle stands twice. Name each angle once.")
        for required in self.required_angles:
            check_range("required_angles", required, -90, 175, "The angle", "°")
        for angle, limit in self.angle_limits.items():
            if not re.fullmatch(r"-?[0-9]{1,3}", angle) or str(int(angle)) != angle:
                raise Invalid(
                    "angle_limits", f"{angle!r} is not an angle. Name it in whole degrees, as 110."
                )
            check_range("angle_limits", int(angle), -90, 175, "The angle", "°")
            check_range("angle_limits", limit, 0.05, 5, f"The limit at {angle}°")
        if len(set(self.lights)) != len(self.lights):
            raise Invalid("lights", "A light stands twice. Name each light once.")
        for light in self.lights:
            check_text("lights", light, "The light", 20)

    def limit(self, joint: JointKind | None) -> float:
        """Limit for a joint kind, or against the master when None."""
        return float(getattr(self, f"limit_{joint or 'master'}"))

    def limit_at(self, joint: JointKind | None, angle: int | None) -> float:
        """Limit for a joint kind, or against the master, at one angle."""
        own = self.angle_limits.get(str(angle))
        if own is None or joint is None:
            return self.limit(joint) if own is None else own
        return self.limit(joint) * own / self.limit_master


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel(JobRecord):
    """A part that carries a finish; x and y place it on the map of the vehicle, in grid units."""

    table: ClassVar[str] = "panels"

    finish_id: str
    name: str
    x: float = 0.0
    y: float = 0.0

    def check(self) -> None:
        check_text("name", self.name, "The panel's name", 80)
        check_range("x", self.x, -100, 100, "The place across")
        check_range("y", self.y, -100, 100, "The place along")


@dataclass(frozen=True, slots=True, kw_only=True)
class Area(JobRecord):
    """A part of a panel that was sprayed from another batch than the rest."""

    table: ClassVar[str] = "areas"

    panel_id: str
    name: str

    def check(self) -> None:
        check_text("name", self.name, "The area's name", 80)


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint(JobRecord):
    """An edge that meets the eye, between two panels or two areas of one."""

    table: ClassVar[str] = "joints"

    kind: JointKind
    panel_a: str
    panel_b: str
    area_a: str | None = None
    area_b: str | None = None
    note: str = ""

    def check(self) -> None:
        if (self.panel_a, self.area_a) == (self.panel_b, self.area_b):
            raise Invalid("panel_b", "Both sides of the joint are the same place. Name two.")
        if (self.kind is JointKind.WITHIN) != (self.panel_a == self.panel_b):
            raise Invalid(
                "kind", "A joint within a panel has both sides on one panel, every other on two."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair(JobRecord):
    """That this job repairs a stored finish of an earlier one."""

    table: ClassVar[str] = "repairs"

    stored_job_id: str
    stored_finish_id: str
    damage: str

    def check(self) -> None:
        check_text("damage", self.damage, "What is repaired")


@dataclass(frozen=True, slots=True, kw_only=True)
class Acceptance(JobRecord):
    """A person's word that a joint or batch may stay as it is, with the reason.

    It holds for the verdict it names; a later verdict on the same thing needs its own word.
    """

    table: ClassVar[str] = "acceptances"

    why: str
    joint_id: str | None = None
    batch_id: str | None = None
    verdict_id: str | None = None

    def check(self) -> None:
        check_text("why", self.why, "The reason", 500)
        if (self.joint_id is None) == (self.batch_id is None):
            raise Invalid("joint_id", "Accept either one joint or one batch.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Release(JobRecord):
    """A manager's word that the job may leave."""

    table: ClassVar[str] = "releases"

    note: str = ""
