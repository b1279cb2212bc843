"""The journal of a job and of the shop: who did what, when, under which hash."""

import json
from hashlib import sha256

import pytest

from service.storage.queries.sql_queries import SqlQueries
from service.use_cases import correcting
from service.use_cases.all_verbs import VERBS
from service.web.pages import journal
from service.web.pages.journal_words import DID, KINDS
from tests.web.pages.audit_shop import AuditShop, table


@pytest.fixture(scope="module")
def shop(tmp_path_factory):
    made = AuditShop(tmp_path_factory.mktemp("journal"))
    told = made.story()
    made.accept(joint_id=told.joints["Wing Bonnet"])
    made.hand.do(
        correcting.Correct,
        job_id=made.hand.job_id,
        table="batches",
        record_id=told.batches[2],
        changes={"note": "Second tin of the day"},
        why="Nobody had written it down.",
        by=made.painter,
    )
    yield made
    made.close()


@pytest.fixture
def office(shop):
    return shop.browser(shop.manager)


def entries(sheet):
    return [item.text for item in sheet.main.one("ol", class_="journal").children if item != "\n"]


def test_every_verb_has_words_and_every_table_a_record():
    assert {verb.name for verb in VERBS.values()} <= set(DID)
    for words, named in DID.values():
        assert named in ("", "*") or named in KINDS
        assert ("{}" in words) == (named != "")


def test_the_newest_entry_comes_first_with_its_hash(shop, office):
    sheet = office.open(f"/jobs/{shop.hand.job_id}/journal")
    stored = SqlQueries(shop.store).journal(shop.hand.job_id)
    order = shop.hand.file.all(_job())[0].work_order
    assert sheet.heading == (
        f"The journal of Invented van, {order} ends at entry {stored[0].position}"
    )
    hashes = [p.text for p in sheet.main.all("p", class_="hash")]
    assert hashes == [f"Entry {e.position} · {e.hash}" for e in stored]
    # The hash is one of the text alone, so anybody can make it again (FIPS 180-4, by hashlib).
    assert stored[0].hash == sha256(stored[0].payload.encode()).hexdigest()


def _job():
    from service.domain.records.job import Job

    return Job


def test_entries_are_sentences_that_name_who_and_what(shop, office):
    text = office.open(f"/jobs/{shop.hand.job_id}/journal").main.text
    assert "Pat mixed batch 3" in text
    assert "First Manager accepted Wing to Bonnet" in text
    assert "First Manager sprayed base coat 3 of batch 3 on the bonnet" in text
    assert "First Manager approved the master of Body" in text
    assert "First Manager added the joint Wing to Bonnet" in text
    assert "logged the reading of card" in text and "verdicts followed" in text


def test_a_correction_shows_old_and_new_with_its_reason(shop, office):
    sheet = office.open(f"/jobs/{shop.hand.job_id}/journal")
    assert "Pat corrected the entry of batch 2" in sheet.main.text
    assert table(sheet, "What changed") == [["Note", "not recorded", "Second tin of the day"]]
    assert "Reason: Nobody had written it down." in sheet.main.text


def test_it_says_how_to_check_it_on_the_command_line(shop, office):
    sheet = office.open(f"/jobs/{shop.hand.job_id}/journal")
    assert sheet.main.one("pre").text == "keepcard verify --data FOLDER"
    assert "heads.jsonl" in sheet.main.text


def test_entries_go_on_by_their_position(shop, office, monkeypatch):
    monkeypatch.setattr(journal, "ENTRIES", 20)
    last = SqlQueries(shop.store).journal(shop.hand.job_id, limit=1)[0].position
    sheet = office.open(f"/jobs/{shop.hand.job_id}/journal")
    seen = []
    while True:
        seen += [p.text.split()[1] for p in sheet.main.all("p", class_="hash")]
        following = [a for a in sheet.main.all("a") if a.text == "Show the next ones"]
        if not following:
            break
        sheet = office.open(following[0].attributes["href"])
        assert sheet.heading.startswith("Entries ")
    assert [int(position) for position in seen] == list(range(last, 0, -1))


def test_the_shops_journal_is_a_managers_and_leads_to_the_jobs(shop, office):
    sheet = office.open("/shop/journal")
    assert "added Pat" in sheet.main.text
    assert "set up the shop Northside Refinish" in sheet.main.text
    opened = [a for a in sheet.main.all("a") if a.text == "its journal"]
    assert opened[0].attributes["href"] == f"/jobs/{shop.hand.job_id}/journal"
    refused = shop.browser(shop.painter).open("/shop/journal")
    assert refused.status == 403 and "read the shop’s" in refused.main.text.replace("'", "’")


def test_a_password_leaves_no_trace_in_what_is_shown(shop, office):
    html = office.open("/shop/journal").html
    assert "argon2" not in html and "hash_" not in html
    payloads = [json.loads(e.payload) for e in SqlQueries(shop.store).journal(shop.store.shop_id)]
    assert any(row["table"] == "people" for p in payloads for row in p["rows"])
