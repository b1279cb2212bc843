"""A command is carried out once, however often, however fast and however late it is sent."""

import re
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest

import service.use_cases
from service.domain.records.job import Area, Job, Panel
from service.domain.records.shop import ApiToken, Credential, Person
from service.domain.refused import AlreadyThere, Invalid, KeyReused, NotAllowed, Unknown
from service.domain.terms import FinishKind, Role
from service.use_cases.all_verbs import VERBS
from service.use_cases.command import fingerprint, perform
from service.use_cases.job import AddFinish, AddPanel, OpenJob
from service.use_cases.shop import AddPerson, GiveToken, SetPassword
from tests.fakes import FakeStore
from tests.web_shop import new_id


@pytest.fixture(params=["fake", "real"])
def any_store(request, store):
    """The real store (on each engine) and the stand-in the other tests use keep one promise."""
    return store if request.param == "real" else FakeStore()


def manager_of(store):
    return store.shop().all(Person)[0].root


def opened(store, **fields):
    command = OpenJob(id=new_id(), work_order=f"W-{new_id()[:8]}", title="Invented van", **fields)
    return command, perform(store, manager_of(store), command)


def test_the_same_command_again_gives_the_first_receipt_and_changes_nothing(any_store):
    command, first = opened(any_store)
    before = any_store.job(command.id)
    again = perform(any_store, manager_of(any_store), command)
    assert again == first
    assert [job.root for job in any_store.job(command.id).all(Job)] == [command.id]
    assert any_store.job(command.id).all(Job) == before.all(Job)


def test_another_content_under_the_same_id_is_refused(any_store):
    command, _ = opened(any_store)
    with pytest.raises(KeyReused, match="already used for another entry"):
        perform(any_store, manager_of(any_store), replace(command, title="Another van"))


def test_another_verb_under_the_same_id_is_refused(any_store):
    command, _ = opened(any_store)
    other = AddPerson(id=command.id, name="Nell", roles=(Role.PAINTER,))
    with pytest.raises(KeyReused):
        perform(any_store, manager_of(any_store), other)


def test_a_refused_command_leaves_its_id_free(any_store):
    command, _ = opened(any_store)
    id = new_id()
    taken = OpenJob(id=id, work_order=command.work_order, title="Another van")
    with pytest.raises(AlreadyThere):
        perform(any_store, manager_of(any_store), taken)
    mended = replace(taken, work_order=f"W-{new_id()[:8]}")
    assert perform(any_store, manager_of(any_store), mended).id == id


def test_a_repeat_is_answered_even_when_it_could_not_be_done_again(any_store):
    command, first = opened(any_store)
    # Done anew it would meet its own work order.
    assert perform(any_store, manager_of(any_store), command) == first


def test_sixteen_at_once_are_one(any_store):
    command = OpenJob(id=new_id(), work_order=f"W-{new_id()[:8]}", title="Invented van")
    manager = manager_of(any_store)
    with ThreadPoolExecutor(16) as pool:
        receipts = list(pool.map(lambda _: perform(any_store, manager, command), range(48)))
    assert set(receipts) == {receipts[0]}
    assert len(any_store.job(command.id).all(Job)) == 1


def test_sixteen_different_ones_at_once_are_sixteen(any_store):
    manager = manager_of(any_store)
    commands = [
        OpenJob(id=new_id(), work_order=f"W-{new_id()[:8]}", title="Invented van")
        for _ in range(16)
    ]
    with ThreadPoolExecutor(16) as pool:
        receipts = list(pool.map(lambda c: perform(any_store, manager, c), commands))
    assert [receipt.id for receipt in receipts] == [command.id for command in commands]
    assert len({receipt.hash for receipt in receipts}) == 16


def test_the_parts_of_a_command_have_ids_of_their_own_that_never_change(any_store):
    job, _ = opened(any_store)
    manager = manager_of(any_store)
    finish = AddFinish(id=new_id(), job_id=job.id, name="Body", kind=FinishKind.SOLID)
    perform(any_store, manager, finish)
    panel = AddPanel(
        id=new_id(), job_id=job.id, finish_id=finish.id, name="Door", areas=("top", "foot")
    )
    perform(any_store, manager, panel)
    other = FakeStore()
    perform(other, other.manager_id, job)
    perform(other, other.manager_id, finish)
    perform(other, other.manager_id, panel)
    here, there = (store.job(job.id).all(Area) for store in (any_store, other))
    assert [area.id for area in here] == [area.id for area in there]
    assert len({area.id for area in here} | {panel.id}) == 3
    assert any_store.job(job.id).get(Panel, panel.id)


def test_a_password_hashed_anew_is_still_the_same_command(any_store):
    """argon2id salts every hash anew (RFC 9106, 3.1), so a repeat carries another one."""
    manager = manager_of(any_store)
    command = SetPassword(id=new_id(), person_id=manager, password_hash="$argon2id$one")
    first = perform(any_store, manager, command)
    again = perform(any_store, manager, replace(command, password_hash="$argon2id$two"))
    assert again == first
    assert len(any_store.shop().all(Credential)) == 1


def test_a_token_made_anew_is_still_the_same_command(any_store):
    manager = manager_of(any_store)
    command = GiveToken(
        id=new_id(), person_id=manager, role=Role.MANAGER, label="till", token_hash="1" * 64
    )
    first = perform(any_store, manager, command)
    assert perform(any_store, manager, replace(command, token_hash="2" * 64)) == first
    assert len(any_store.shop().all(ApiToken)) == 1


def test_one_moment_in_two_zones_is_the_same_command():
    moment = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
    elsewhere = moment.astimezone(timezone(timedelta(hours=5, minutes=30)))
    id = new_id()
    one, other = (
        OpenJob(id=id, work_order="W", title="Van", observed_at=at) for at in (moment, elsewhere)
    )
    assert fingerprint(one) == fingerprint(other)


def test_every_field_a_client_fills_tells_commands_apart():
    command = OpenJob(id=new_id(), work_order="W", title="Van")
    for change in (
        {"work_order": "X"},
        {"title": "Bus"},
        {"note": "n"},
        {"damage": "d"},
        {"repairs_job_id": "j"},
        {"observed_at": datetime(2026, 3, 1, tzinfo=UTC)},
    ):
        assert fingerprint(replace(command, **change)) != fingerprint(command), change


@pytest.mark.parametrize("id", ["", "7", "A" * 36, "{00000000-0000-4000-8000-000000000000}"])
def test_an_id_that_is_no_uuid_is_refused(id):
    store = FakeStore()
    with pytest.raises(Invalid, match="must be a UUID") as refused:
        perform(store, store.manager_id, OpenJob(id=id, work_order="W", title="Van"))
    assert refused.value.field == "id"


def test_an_upper_case_uuid_is_refused_so_that_one_id_has_one_form():
    store = FakeStore()
    with pytest.raises(Invalid, match="lower case"):
        perform(store, store.manager_id, OpenJob(id=new_id().upper(), work_order="W", title="V"))


def test_a_time_without_a_zone_is_refused():
    store = FakeStore()
    command = OpenJob(id=new_id(), work_order="W", title="V", observed_at=datetime(2026, 1, 1))
    with pytest.raises(Invalid, match="has no zone"):
        perform(store, store.manager_id, command)


def test_only_the_roles_of_a_verb_may_carry_it_out(any_store):
    manager = manager_of(any_store)
    people = {Role.MANAGER: manager}
    for role in (Role.PAINTER, Role.REFINISHER):
        added = AddPerson(id=new_id(), name=f"A {role}", roles=(role,))
        perform(any_store, manager, added)
        people[role] = added.id
    command = AddPerson(id=new_id(), name="Nell", roles=(Role.PAINTER,))
    for role in (Role.PAINTER, Role.REFINISHER):
        with pytest.raises(NotAllowed, match="Only a manager may add a person"):
            perform(any_store, people[role], command)
    assert perform(any_store, people[Role.MANAGER], command)


def test_acting_as_narrows_a_person_to_one_role(any_store):
    manager = manager_of(any_store)
    both = AddPerson(id=new_id(), name="Both", roles=(Role.MANAGER, Role.PAINTER))
    perform(any_store, manager, both)
    command = AddPerson(id=new_id(), name="Nell", roles=(Role.PAINTER,))
    with pytest.raises(NotAllowed):
        perform(any_store, both.id, command, acting_as=Role.PAINTER)
    assert perform(any_store, both.id, command, acting_as=Role.MANAGER)


def test_acting_as_gives_no_role_the_person_does_not_hold(any_store):
    manager = manager_of(any_store)
    painter = AddPerson(id=new_id(), name="Pat", roles=(Role.PAINTER,))
    perform(any_store, manager, painter)
    command = AddPerson(id=new_id(), name="Nell", roles=(Role.PAINTER,))
    with pytest.raises(NotAllowed):
        perform(any_store, painter.id, command, acting_as=Role.MANAGER)


def test_nobody_is_not_allowed_anything(any_store):
    with pytest.raises(Unknown):
        perform(any_store, new_id(), OpenJob(id=new_id(), work_order="W", title="Van"))


def test_every_module_with_verbs_is_read():
    registering = {
        path.stem
        for path in Path(service.use_cases.__path__[0]).glob("*.py")
        if re.search(r"^@verb\(", path.read_text(encoding="utf-8"), re.MULTILINE)
    }
    read = {kind.__module__.rpartition(".")[2] for kind in VERBS}
    assert registering == read, "name the module in service/use_cases/all_verbs.py"


def test_every_verb_says_who_may_and_what_they_do():
    assert len(VERBS) > 30
    for kind, verb in VERBS.items():
        assert verb.roles, kind
        assert verb.handler.__doc__, kind
        assert verb.doing == verb.doing.strip(". "), kind
        assert kind.__doc__, kind
