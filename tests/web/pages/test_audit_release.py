"""Releasing a job: what stands against it, accepting by name, and the word itself."""

import pytest

from service.domain.records.job import Acceptance, Release
from service.domain.terms import MovementKind
from tests.web.pages.audit_shop import AuditShop


@pytest.fixture
def shop(tmp_path):
    made = AuditShop(tmp_path)
    made.story()
    yield made
    made.close()


@pytest.fixture
def manager(shop):
    return shop.browser(shop.manager)


def address(shop):
    return f"/jobs/{shop.hand.job_id}/release"


def against(sheet):
    lists = sheet.main.all("ol", class_="findings")
    return [item.one("p", class_="finding-sentence").text for item in lists[0].all("li")]


def test_what_stands_against_release_comes_worst_first_and_there_is_no_button(shop, manager):
    sheet = manager.open(address(shop))
    assert sheet.heading == "Two findings stand against releasing Invented van"
    found = against(sheet)
    assert found[0].startswith("Batch 3 on the bonnet would show against batch 1 on the wing")
    assert found[1].startswith("Batch 3 would show against the master")
    assert not sheet.main.all("form")


def test_a_job_is_released_once_everything_is_settled_or_accepted(shop, manager):
    sheet = manager.open(address(shop))
    for left in (1, 0):
        accept = next(a for a in sheet.main.all("a") if a.text.startswith("Accept it with"))
        form = manager.open(accept.attributes["href"])
        assert "would show" in form.main.text
        sheet = form.send(why="The owner saw it.")
        assert sheet.address.startswith(address(shop))
        assert "It is accepted, with your name and reason." in sheet.main.text
        assert len([a for a in sheet.main.all("a") if a.text.startswith("Accept")]) == left
    assert sheet.heading == "Nothing stands against releasing Invented van"
    assert "“The owner saw it.”" in sheet.main.text
    released = sheet.send(note="Fetched at noon.")
    assert released.address == f"/jobs/{shop.hand.job_id}"
    assert released.heading == "This job is released"
    again = manager.open(address(shop))
    assert again.heading == "Invented van is released"
    assert "By First Manager" in again.main.text and "“Fetched at noon.”" in again.main.text
    assert not again.main.all("form")
    assert len(shop.hand.file.all(Release)) == 1
    assert len(shop.hand.file.all(Acceptance)) == 2


def test_what_came_up_meanwhile_refuses_the_release_and_is_shown(shop, manager):
    shop.accept(joint_id=shop.told.joints["Wing Bonnet"])
    shop.accept(batch_id=shop.told.batches[3])
    sheet = manager.open(address(shop))
    shop.sprayed(4, None, panels=("Door",), card=False)
    refused = sheet.send(note="")
    assert refused.status == 409
    assert refused.errors[0].startswith("2 findings still stand against release.")
    assert refused.heading == "Two findings stand against releasing Invented van"
    assert not shop.hand.file.all(Release)


def test_a_card_that_is_out_is_good_to_know_and_stands_against_nothing(shop, manager):
    shop.accept(joint_id=shop.told.joints["Wing Bonnet"])
    shop.accept(batch_id=shop.told.batches[3])
    shop.away(2, MovementKind.PULLED)
    sheet = manager.open(address(shop))
    assert sheet.heading == "Nothing stands against releasing Invented van"
    notes = next(s for s in sheet.main.all("section") if s.all("h2", id="notes"))
    assert "is out of the rack" in notes.text


def test_a_missing_master_can_only_be_settled(shop, manager):
    shop.hand.open(coats_to_hide=2)
    shop.panel("Roof")
    shop.sprayed(1, (45.0, -5.0, -20.0), panels=("Roof",))
    sheet = manager.open(address(shop))
    assert against(sheet) == ["Body has no master card."]
    assert not [a for a in sheet.main.all("a") if a.text.startswith("Accept")]


def test_only_a_manager_releases(shop):
    for person in (shop.painter, shop.hand.refinisher):
        sheet = shop.browser(person).open(address(shop))
        assert sheet.status == 403
        assert "Only a manager may release a job" in sheet.main.text


def test_an_acceptance_of_nothing_is_refused(shop, manager):
    sheet = manager.open(f"/jobs/{shop.hand.job_id}/accept")
    assert sheet.status == 422
    assert "Say which joint or batch" in sheet.main.text
