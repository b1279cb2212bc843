"""The joints of a job as its page shows them: judged, waiting, and drawn on the vehicle's map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from service.domain.lookups import verdict_on_joint
from service.domain.record_file import RecordFile
from service.domain.records.job import Joint, Panel
from service.domain.records.measuring import Verdict
from service.domain.records.spraying import Batch, Coat
from service.domain.sides import joint_gap, joint_name
from service.domain.terms import JointKind, Word
from service.web.context import PageContext
from service.web.filters import delta_e, verdict_word
from service.web.pages.bench_views import bounds_of, link_to_each
from service.web.vehicle_map import MapJoint, MapPanel, VehicleMap, draw

ORDER = (Word.SHOWS, Word.NOT_COMPARABLE, Word.CANNOT_TELL, Word.BLENDS)
ONE_BATCH = "one_stack"
UNLIKE_BY_DESIGN = "two_finishes"


@dataclass(frozen=True, slots=True, kw_only=True)
class JointShown:
    """A joint that was judged."""

    joint: Joint
    name: str
    kind: JointKind
    href: str
    word: Word
    difference: float | None
    bounds: tuple[float, float] | None
    limit: float
    directions: str
    different: bool
    card_a: str | None
    card_b: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class JointWaiting:
    """A joint that cannot be judged yet, with what it lacks."""

    joint: Joint
    name: str
    kind: JointKind
    href: str
    gap: str


@dataclass(frozen=True, slots=True)
class _Found:
    """What the job's file says of one joint."""

    joint: Joint
    name: str
    gap: str
    verdict: Verdict | None


def _found(file: RecordFile) -> tuple[_Found, ...]:
    gaps = [(joint, joint_gap(file, joint)) for joint in file.all(Joint)]
    return tuple(
        _Found(
            joint,
            joint_name(file, joint),
            gap,
            None if gap else verdict_on_joint(file, joint.root),
        )
        for joint, gap in gaps
    )


def shown_joints(
    here: PageContext, file: RecordFile
) -> tuple[list[JointShown], list[JointWaiting], int]:
    """The judged joints, worst first; those that wait; how many have one batch on both sides."""
    judged: list[JointShown] = []
    waiting: list[JointWaiting] = []
    one_batch = 0
    href = link_to_each(here, "joint", "joint_id", job_id=file.chain)
    for found in file.once(_found):
        joint, verdict = found.joint, found.verdict
        if found.gap in (ONE_BATCH, UNLIKE_BY_DESIGN):
            one_batch += found.gap == ONE_BATCH
        elif verdict is None:
            waiting.append(
                JointWaiting(
                    joint=joint,
                    name=found.name,
                    kind=joint.kind,
                    href=href(joint.root),
                    gap=found.gap or "no_verdict",
                )
            )
        else:
            judged.append(
                JointShown(
                    joint=joint,
                    name=found.name,
                    kind=joint.kind,
                    href=href(joint.root),
                    word=verdict.word,
                    difference=verdict.delta_e_2000,
                    bounds=bounds_of(verdict),
                    limit=verdict.limit,
                    directions="" if verdict.word is Word.BLENDS else verdict.words,
                    different=verdict.over_five and verdict.word is Word.SHOWS,
                    card_a=verdict.card_id,
                    card_b=verdict.other_card_id,
                )
            )
    return sorted(judged, key=_worst_first), waiting, one_batch


def _worst_first(joint: JointShown) -> tuple[int, float]:
    return ORDER.index(joint.word), -(joint.difference or 0.0) / joint.limit


def map_of(
    here: PageContext,
    file: RecordFile,
    judged: Sequence[JointShown],
    waiting: Sequence[JointWaiting],
) -> VehicleMap | None:
    """The panels and joints as a map; None while there is no panel."""
    panels = file.all(Panel)
    if not panels:
        return None
    on_map = {panel.root for panel in panels}
    boxes = tuple(
        MapPanel(key=panel.root, name=panel.name, x=panel.x, y=panel.y, note=_batches(file, panel))
        for panel in panels
    )
    lines = [
        *(
            _line(joint.joint, joint.word, _number(joint), joint.name, joint.href)
            for joint in judged
        ),
        # What waits for a card or a reading cannot be told, so it is drawn as such.
        *(_line(joint.joint, Word.CANNOT_TELL, "", joint.name, joint.href) for joint in waiting),
    ]
    return _drawn(boxes, tuple(x for x in lines if {x.first, x.second} <= on_map))


def _line(joint: Joint, word: Word, label: str, name: str, href: str) -> MapJoint:
    said = verdict_word(word) + (f" {label}" if label else "")
    return MapJoint(
        first=joint.panel_a,
        second=joint.panel_b,
        kind=joint.kind.value,
        word=word.value,
        label=label,
        title=f"{name}: {said}",
        href=href,
    )


def _number(joint: JointShown) -> str:
    if joint.different:
        return "over 5"
    return "" if joint.difference is None else delta_e(joint.difference)


def _batches(file: RecordFile, panel: Panel) -> str:
    """The batches of a panel's colour coats, in few letters."""
    coats = file.by(Coat, "panel_id", panel.root)
    ids = {coat.batch_id for coat in coats if coat.role.gives_colour}
    numbers = sorted(b.number for b in (file.find(Batch, id) for id in ids) if b is not None)
    if not numbers:
        return ""
    if len(numbers) > 3:
        return f"{len(numbers)} batches"
    return f"batch{'es' * (len(numbers) > 1)} {', '.join(map(str, numbers))}"


@lru_cache(maxsize=64)
def _drawn(panels: tuple[MapPanel, ...], joints: tuple[MapJoint, ...]) -> VehicleMap:
    """Laying out is the dearest part of the page and depends on nothing else."""
    return draw(panels, joints)
