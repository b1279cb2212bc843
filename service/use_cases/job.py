"""Opening a job: its finishes and their policies, its panels and joints."""

from __future__ import annotations

from dataclasses import dataclass, field

from service.domain.comparability import GRADES, LEAST, Grade
from service.domain.records.job import (
    DEFAULT_LIGHTS,
    DEFAULT_LIMIT,
    DEFAULT_LIMIT_ORIGIN,
    EFFECT_ANGLES,
    Area,
    Finish,
    Job,
    Joint,
    Panel,
    Policy,
    Repair,
)
from service.domain.refused import AlreadyThere, Invalid
from service.domain.terms import FinishKind, JointKind, Role
from service.use_cases.command import EVERYONE, Command, stamp, verb
from service.use_cases.ports import Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenJob(Command):
    """One vehicle or object under one work order; a repair names the job it goes back to."""

    work_order: str
    title: str
    note: str = ""
    repairs_job_id: str | None = None
    repairs_finish_id: str | None = None
    damage: str = ""


@verb(*EVERYONE, doing="open a job")
def open_job(unit: Unit, command: OpenJob) -> None:
    """Open a job; the repair of a stored finish starts with that finish's own figures."""
    work_order = command.work_order.strip()
    if unit.job_by_work_order(work_order) is not None:
        raise AlreadyThere(
            f"The work order {work_order} already has a job. Open that one, or number this anew."
        )
    made = stamp(unit, command)
    unit.add(
        Job(
            **made, job_id=command.id, work_order=work_order, title=command.title, note=command.note
        )
    )
    if command.repairs_job_id is None:
        return
    stored = unit.job(command.repairs_job_id)
    finish = stored.get(Finish, command.repairs_finish_id or "")
    policies = stored.by(Policy, "finish_id", finish.root)
    unit.add(
        Repair(
            **stamp(unit, command, "repair"),
            job_id=command.id,
            stored_job_id=stored.chain,
            stored_finish_id=finish.root,
            damage=command.damage,
        )
    )
    unit.add(
        Finish(
            **stamp(unit, command, "finish"),
            job_id=command.id,
            name=finish.name,
            kind=finish.kind,
            colour_code=finish.colour_code,
            colour_name=finish.colour_name,
            ground_coat=finish.ground_coat,
            ground_shade=finish.ground_shade,
            clear=finish.clear,
            coats_to_hide=finish.coats_to_hide,
        ),
        _policy(
            unit,
            command,
            "policy",
            command.id,
            stamp(unit, command, "finish")["id"],
            policies[-1] if policies else Limits(),
        ),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What a finish is held to; differences in CIEDE2000 units, as in the record ``Policy``."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class AddFinish(Command):
    """One paint colour system on a job, with its first policy."""

    job_id: str
    name: str
    kind: FinishKind
    colour_code: str = ""
    colour_name: str = ""
    ground_coat: str = ""
    ground_shade: str = ""
    clear: str = ""
    coats_to_hide: int | None = None
    limits: Limits = field(default_factory=Limits)


@verb(*EVERYONE, doing="add a finish")
def add_finish(unit: Unit, command: AddFinish) -> None:
    """Add a finish; metallic, pearl and tri-coat need readings at 15, 45 and 110 degrees."""
    file = unit.job(command.job_id)
    if any(f.name.casefold() == command.name.strip().casefold() for f in file.all(Finish)):
        raise AlreadyThere(f"This job already has a finish {command.name}. Give it another name.")
    unit.add(
        Finish(
            **stamp(unit, command),
            job_id=command.job_id,
            name=command.name.strip(),
            kind=command.kind,
            colour_code=command.colour_code.strip(),
            colour_name=command.colour_name.strip(),
            ground_coat=command.ground_coat,
            ground_shade=command.ground_shade,
            clear=command.clear,
            coats_to_hide=command.coats_to_hide,
        ),
        _policy(unit, command, "policy", command.job_id, command.id, command.limits, command.kind),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class SetPolicy(Command):
    """New limits for a finish, in force from now on; earlier verdicts keep theirs."""

    job_id: str
    finish_id: str
    limits: Limits
    why: str


@verb(Role.MANAGER, doing="change what a finish is held to")
def set_policy(unit: Unit, command: SetPolicy) -> None:
    """Put new limits in force; batches are judged by them at their next reading or on asking."""
    finish = unit.job(command.job_id).get(Finish, command.finish_id)
    if not command.why.strip():
        raise Invalid("why", "A new limit needs a reason. Say where it comes from.")
    unit.add(_policy(unit, command, "", command.job_id, finish.root, command.limits, finish.kind))


def _known(lights: tuple[str, ...]) -> tuple[str, ...]:
    """Lights by the names of their tables, however they were written."""
    from colour.lights import illuminant_name

    try:
        return tuple(map(illuminant_name, lights))
    except ValueError as error:
        raise Invalid("lights", f"{str(error)[:1].upper()}{str(error)[1:]}") from None


def _policy(
    unit: Unit,
    command: Command,
    part: str,
    job_id: str,
    finish_id: str,
    limits: Limits | Policy,
    kind: FinishKind = FinishKind.SOLID,
) -> Policy:
    for code, grade in limits.grades.items():
        if code not in GRADES or grade not in list(Grade):
            raise Invalid(
                "grades",
                f"{code} cannot be graded {grade}. Reasons are {', '.join(GRADES)}; "
                f"grades are {', '.join(Grade)}.",
            )
        least = LEAST.get(code, Grade.NOTED)
        if list(Grade).index(Grade(grade)) > list(Grade).index(least):
            raise Invalid(
                "grades",
                f"{code} cannot be graded {grade}: nothing blends at an angle nobody looked from. "
                f"Grade it {least}, or stops.",
            )
    angles = limits.required_angles or (EFFECT_ANGLES if kind.has_flop else ())
    why = command.why if isinstance(command, SetPolicy) else None
    return Policy(
        **stamp(unit, command, part),
        reason=why,
        job_id=job_id,
        finish_id=finish_id,
        limit_master=limits.limit_master,
        limit_butt=limits.limit_butt,
        limit_gap=limits.limit_gap,
        limit_fade=limits.limit_fade,
        limit_within=limits.limit_within,
        limit_origin=limits.limit_origin,
        required_angles=angles,
        risk=limits.risk,
        planned_looks=limits.planned_looks,
        card_to_panel=limits.card_to_panel,
        grades=limits.grades,
        widening=limits.widening,
        angle_limits=limits.angle_limits,
        lights=_known(limits.lights) if isinstance(limits, Limits) else limits.lights,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class AddPanel(Command):
    """A part that carries a finish, with its areas if it has any, and its place on the map."""

    job_id: str
    finish_id: str
    name: str
    areas: tuple[str, ...] = ()
    x: float = 0.0
    y: float = 0.0


@verb(*EVERYONE, doing="add a panel")
def add_panel(unit: Unit, command: AddPanel) -> None:
    """Add a panel and its areas."""
    file = unit.job(command.job_id)
    finish = file.get(Finish, command.finish_id)
    if any(p.name.casefold() == command.name.strip().casefold() for p in file.all(Panel)):
        raise AlreadyThere(f"This job already has a panel {command.name}. Give it another name.")
    unit.add(
        Panel(
            **stamp(unit, command),
            job_id=command.job_id,
            finish_id=finish.root,
            name=command.name.strip(),
            x=command.x,
            y=command.y,
        )
    )
    unit.add(
        *(
            Area(
                **stamp(unit, command, f"area {name}"),
                job_id=command.job_id,
                panel_id=command.id,
                name=name,
            )
            for name in command.areas
        )
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class AddArea(Command):
    """A part of a panel that is sprayed from another batch than the rest."""

    job_id: str
    panel_id: str
    name: str


@verb(*EVERYONE, doing="add an area")
def add_area(unit: Unit, command: AddArea) -> None:
    """Add an area to a panel."""
    file = unit.job(command.job_id)
    panel = file.get(Panel, command.panel_id)
    if any(a.name == command.name for a in file.by(Area, "panel_id", panel.root)):
        raise AlreadyThere(f"{panel.name} already has an area {command.name}. Use another name.")
    unit.add(
        Area(**stamp(unit, command), job_id=command.job_id, panel_id=panel.root, name=command.name)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class AddJoint(Command):
    """An edge that meets the eye, between two panels or areas."""

    job_id: str
    kind: JointKind
    panel_a: str
    panel_b: str
    area_a: str | None = None
    area_b: str | None = None
    note: str = ""


@verb(*EVERYONE, doing="add a joint")
def add_joint(unit: Unit, command: AddJoint) -> None:
    """Add a joint; one within a panel arises by itself and need not be added."""
    file = unit.job(command.job_id)
    for panel_id, area_id in ((command.panel_a, command.area_a), (command.panel_b, command.area_b)):
        panel = file.get(Panel, panel_id)
        if area_id is not None and file.get(Area, area_id).panel_id != panel.root:
            raise Invalid("area_a", f"That area is not on {panel.name}. Pick one of its own.")
    places = {(command.panel_a, command.area_a), (command.panel_b, command.area_b)}
    for joint in file.all(Joint):
        if {(joint.panel_a, joint.area_a), (joint.panel_b, joint.area_b)} == places:
            raise AlreadyThere("This joint is already there. Correct it instead of adding another.")
    unit.add(
        Joint(
            **stamp(unit, command),
            job_id=command.job_id,
            kind=command.kind,
            panel_a=command.panel_a,
            panel_b=command.panel_b,
            area_a=command.area_a,
            area_b=command.area_b,
            note=command.note,
        )
    )
