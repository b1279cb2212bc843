"""Before the first pot: the people, their instruments and sheets, the van and its joints."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

from demo_cards.names import id_of
from demo_cards.script import Script, instrument_id, person_id, product_id, told
from service.domain.terms import ComponentRole, FinishKind, JointKind, Role
from service.use_cases.command import Command
from service.use_cases.job import AddFinish, AddJoint, AddPanel, Limits, OpenJob
from service.use_cases.passwords import hash_password
from service.use_cases.shop import AddPerson, RegisterInstrument, RegisterProduct

CALIBRATED_UNTIL = datetime(2022, 12, 31, 18, tzinfo=UTC)


def shop_commands() -> Iterator[Command]:
    """People but the manager, who comes with the shop; instruments; product sheets."""
    cast = told("cast")
    for person in cast["people"]:
        if person["key"] != "manager":
            yield AddPerson(
                id=person_id(person["key"]),
                name=person["name"],
                roles=tuple(Role(role) for role in person["roles"]),
                password_hash=hash_password(person["password"]),
            )
    for place, instrument in enumerate(cast["instruments"]):
        yield RegisterInstrument(
            id=instrument_id(several_angles=place == 0),
            calibration_due=CALIBRATED_UNTIL,
            **instrument,
        )
    for product in cast["products"]:
        ratio = tuple((ComponentRole(role), parts) for role, parts in product.get("mix_ratio", ()))
        figures = {name: v for name, v in product.items() if name not in ("role", "mix_ratio")}
        yield RegisterProduct(
            id=product_id(product["name"]),
            role=ComponentRole(product["role"]),
            mix_ratio=ratio,
            **figures,
        )


def job_commands(script: Script) -> Iterator[Command]:
    """The van as it stands in the shop before anything is sprayed."""
    van = told("van")
    job_id = script.job_id
    yield OpenJob(id=job_id, work_order=van["work_order"], title=van["title"], note=van["note"])
    for finish in van["finishes"]:
        figures = {name: v for name, v in finish.items() if name not in ("kind", "limits")}
        yield AddFinish(
            id=script.finish_id(finish["name"]),
            job_id=job_id,
            kind=FinishKind(finish["kind"]),
            limits=Limits(**finish.get("limits", {})),
            **figures,
        )
    for panel in van["panels"]:
        yield AddPanel(
            id=script.panel_id(panel["name"]),
            job_id=job_id,
            finish_id=script.finish_id(panel["finish"]),
            name=panel["name"],
            areas=tuple(panel.get("areas", ())),
            x=panel["x"],
            y=panel["y"],
        )
    for joint in van["joints"]:
        panel_a, area_a = script.place(joint["a"])
        panel_b, area_b = script.place(joint["b"])
        yield AddJoint(
            id=script.joint_id(joint["a"], joint["b"]),
            job_id=job_id,
            kind=JointKind(joint["kind"]),
            panel_a=panel_a,
            area_a=area_a,
            panel_b=panel_b,
            area_b=area_b,
            note=joint.get("note", ""),
        )


def shop_id() -> str:
    """Id of the demo's shop."""
    return id_of("shop")
