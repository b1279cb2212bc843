"""Photographing cards: from the file to the judged card, by pages that work without script."""

import json
from hashlib import sha256

import pytest

from colour.photo.outcome import PhotoRefused, Remark
from service.domain.lookups import verdict_on_batch
from service.domain.records.cards import Card, Photo
from service.domain.records.measuring import Frame, Reading
from service.domain.records.shop import PhotoTarget
from service.domain.terms import FinishKind, Stage, Word
from service.use_cases import job, shop
from tests.photographs import DeskOfTests, photo_read, target_file
from tests.web.pages.audit_shop import table
from tests.web.pages.bench_shop import BenchShop

MASTER, NEAR, FAR = (42.0, 3.0, -18.0), (42.1, 3.0, -18.0), (42.0, 3.0, -22.0)
CONTENT = b"a photograph of two cards"
SHA = sha256(CONTENT).hexdigest()
INSTRUMENT = (41.0, 2.0, -17.0)


class PhotoShop(BenchShop):
    """A job with a master that an instrument read, and a card that was never read."""

    def __init__(self, folder):
        super().__init__(folder)
        self.desk = self.app.state.services.desk = DeskOfTests()
        self.job()
        self.master = self.batch_with_card(lab=INSTRUMENT)
        self.hand.master(self.master.card, self.master.reading)
        self.other = self.batch_with_card()

    def shows(self, windows, content=CONTENT, **read):
        """Let a photograph show cards of these colours."""
        self.desk.says[content] = photo_read(windows, **read)

    def take(self, browser, content=CONTENT, address="", **fields):
        """Send a photograph by the form, and follow where it leads."""
        address = address or self.at(f"/photographs/new?card={self.other.code}")
        answer = browser.client.post(
            address, data=fields, files={"photo": ("cards.jpg", content, "image/jpeg")}
        )
        return browser._sheet(answer)


@pytest.fixture
def shop_here(tmp_path):
    made = PhotoShop(tmp_path)
    yield made
    made.close()


@pytest.fixture
def painter(shop_here):
    return shop_here.browser()


def test_a_card_leads_to_its_photograph_and_the_photograph_to_its_verdict(shop_here, painter):
    shop_here.shows({"card": NEAR, "master": MASTER})
    sheet = painter.open(f"/c/{shop_here.other.code}").follow("Photograph it beside the master")
    assert sheet.heading == "Photograph the card beside the master"
    assert sheet.choices("sheet")["The one its corner codes tell"] == "codes"

    read = shop_here.take(painter, address=sheet.address)
    assert read.status == 200
    assert read.heading == "In this photograph the card blends with the master"
    assert "Nothing is on record yet" in read.document.one("header", class_="answer").text
    assert "L* 42.10, a* 3.00, b* −18.00, from 8000 pixels" in read.main.text
    assert "The patches were never measured." in read.main.text
    # What a card's page already knows is offered, with by what, for a person to confirm.
    assert read.fields()["lying.0.card_id"] == [shop_here.other.card]
    assert read.fields()["lying.1.card_id"] == [shop_here.master.card]
    assert "check it" in read.label_of("lying.0.card_id")
    assert read.fields()["lying.0.stage"] == [Stage.BASE_DRY]
    assert not shop_here.file.all(Frame)

    done = read.send(lying__0__stage=Stage.BAKED, lying__1__stage=Stage.BAKED)
    assert done.address == f"/c/{shop_here.other.code}?saved=photograph"
    assert "What the photograph shows is on record" in done.main.text
    assert "Blends" in done.main.one("section", class_="card-said").text
    assert "by photograph, under the conditions of its sheet" in done.main.text
    batch = painter.open(shop_here.at(f"/batches/{shop_here.other.batch}"))
    assert "by photograph, under the conditions of its sheet" in batch.main.text
    assert batch.link("Photograph it beside the master") == sheet.address
    verdict = verdict_on_batch(shop_here.file, shop_here.other.batch)
    assert verdict.word is Word.BLENDS
    (frame,) = shop_here.file.all(Frame)
    assert frame.windows == ("card", "master")
    assert len(shop_here.file.all(Photo)) == 2

    again = done.follow("Swap the two cards and take another")
    assert again.heading == "Swap the two cards and photograph them again"
    swapped = shop_here.take(painter, address=again.address)
    assert swapped.fields()["lying.0.card_id"] == [shop_here.master.card]


def test_a_photograph_may_be_taken_or_chosen(shop_here, painter):
    shop_here.shows({"card": NEAR, "master": MASTER})
    none = ("", b"", "application/octet-stream")
    for photo, chosen in (
        (("a.jpg", CONTENT, "image/jpeg"), none),
        (none, ("a.jpg", CONTENT, "image/jpeg")),
    ):
        answer = painter.client.post(
            shop_here.at("/photographs/new"), files={"photo": photo, "chosen": chosen}
        )
        assert answer.status_code == 200 and f"/photographs/{SHA}" in str(answer.url)


def test_a_photograph_is_kept_before_it_is_read_and_read_again_when_saved(shop_here, painter):
    shop_here.shows({"card": NEAR, "master": MASTER})
    read = shop_here.take(painter)
    assert shop_here.app.state.services.shop.photos.get(SHA) == CONTENT
    shop_here.shows({"card": FAR, "master": MASTER})
    read.send(lying__0__stage=Stage.BAKED, lying__1__stage=Stage.BAKED)
    labs = {r.angles[0].repeats[0] for r in shop_here.file.all(Reading) if r.frame_id}
    assert labs == {FAR, MASTER}


def test_a_label_in_a_window_offers_its_card_and_no_other_is_guessed(shop_here, painter):
    shop_here.shows(
        {"card": NEAR, "master": MASTER, "card 2": FAR},
        codes=[(shop_here.other.code, "card 2"), (shop_here.master.code, "card")],
    )
    read = shop_here.take(painter)
    fields = read.fields()
    assert fields["lying.2.card_id"] == [shop_here.other.card]
    assert "by the label in it" in read.label_of("lying.2.card_id")
    assert fields["lying.0.card_id"] == [shop_here.master.card]
    assert fields["lying.1.card_id"] == ["none"]
    done = read.send(lying__0__card_id="none")
    (frame,) = shop_here.file.all(Frame)
    assert frame.windows == ("card 2",)
    assert done.address.startswith(f"/c/{shop_here.other.code}")


def test_a_refused_photograph_says_why_and_what_to_do_and_takes_corners(shop_here, painter):
    content = encoded()
    why = "No sheet was found. Lay the cards on the sheet and photograph all of it."
    shop_here.desk.says[content] = PhotoRefused([Remark(code="no_target", message=why)])
    refused = shop_here.take(painter, content=content)
    assert refused.status == 200
    assert refused.heading == "This photograph cannot be trusted"
    assert why in refused.main.text
    assert refused.link("Take another photograph") == shop_here.at(
        f"/photographs/new?card={shop_here.other.code}"
    )
    assert "The photograph is kept, whatever you do here." in refused.main.text
    assert refused.main.one("details").attributes.get("open") is not None
    (form,) = [f for f in refused.main.all("form") if f.attributes["method"] == "get"]
    names = [field.attributes["name"] for field in form.all("input")]
    assert [name for name in names if name[0] in "xy"] == [
        f"{axis}{n}" for n in range(4) for axis in "xy"
    ]

    shop_here.shows({"card": NEAR, "master": MASTER}, content=content)
    sent = {f"{axis}{n}": str(10 * n + 1) for n in range(4) for axis in "xy"}
    sent |= {"sheet": "a4", "card": shop_here.other.code}
    read = painter._sheet(painter.client.get(form.attributes["action"], params=sent))
    assert "corners=1%2C1+11%2C11+21%2C21+31%2C31" in read.address
    assert read.heading.startswith("In this photograph")
    asked = shop_here.desk.asked[-1]
    assert asked["corners"] == ((1, 1), (11, 11), (21, 21), (31, 31))
    assert asked["target"].name == "Photo sheet A4"
    read.send(lying__0__stage=Stage.BAKED, lying__1__stage=Stage.BAKED)
    evidence = json.loads(shop_here.file.all(Frame)[0].evidence)
    assert evidence["corners"] == [[1, 1], [11, 11], [21, 21], [31, 31]]


def encoded():
    """A grey picture of 80 by 60 pixels, as JPEG."""
    from io import BytesIO

    from PIL import Image

    out = BytesIO()
    Image.new("RGB", (80, 60), (90, 90, 90)).save(out, "JPEG")
    return out.getvalue()


@pytest.mark.parametrize(
    ("content", "why"),
    [(b"", "No photograph was chosen"), (b"%PDF-1.7", "The file is a PDF document")],
)
def test_what_is_no_photograph_is_said_at_the_form(shop_here, painter, content, why):
    sheet = shop_here.take(painter, content=content)
    assert sheet.status == 422
    assert any(why in error for error in sheet.errors)
    assert sheet.heading == "Photograph the card beside the master"


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ({"lying__0__card_id": "none", "lying__1__card_id": "none"}, "No window holds a card"),
        ({"lying__0__stage": "burnt"}, "is unknown"),
        ({"surface_temperature_c": "hot"}, "no number"),
    ],
)
def test_a_form_that_cannot_be_taken_keeps_what_was_chosen(shop_here, painter, typed, why):
    shop_here.shows({"card": NEAR, "master": MASTER})
    read = shop_here.take(painter)
    again = read.send(**{"lying__1__stage": Stage.POLISHED, **typed})
    assert again.status == 422
    assert any(why in error for error in again.errors), again.errors
    assert again.fields()["lying.1.stage"] == [Stage.POLISHED]
    assert not shop_here.file.all(Frame)


def test_one_card_in_two_windows_is_refused(shop_here, painter):
    shop_here.shows({"card": NEAR, "master": MASTER})
    again = shop_here.take(painter).send(lying__1__card_id=shop_here.other.card)
    assert again.errors == ["A card stands in two windows. Give it one window, or name its zones."]


def test_a_metallic_is_told_that_one_photograph_sees_no_flop(shop_here, painter):
    shop_here.job(FinishKind.METALLIC)
    shop_here.other = shop_here.batch_with_card()
    shop_here.shows({"card": NEAR, "master": MASTER})
    read = shop_here.take(painter)
    assert "It cannot judge the flop of this finish" in read.main.text


def test_without_a_window_for_the_master_there_is_no_difference(shop_here, painter):
    shop_here.shows({"card": NEAR})
    read = shop_here.take(painter)
    assert read.heading == "The photograph was read: one window"
    assert "only where both windows, master and card, are on the sheet" in read.main.text


def test_the_picture_is_drawn_over_with_what_was_found(shop_here, painter):
    shop_here.shows({"card": NEAR, "master": MASTER})
    read = shop_here.take(painter)
    figure = read.main.one("figure", class_="photo-figure")
    assert figure.one("img").attributes["src"].startswith(f"/api/photos/{SHA}?width=")
    drawn = figure.one("svg")
    assert drawn.attributes["viewbox"] == "0 0 1200 900"
    assert len(drawn.all("polygon", class_="over-line")) == 3
    assert [text.text for text in drawn.all("text")] == ["card", "master"]
    assert "style=" not in read.html


def test_the_bench_leads_to_the_one_open_job_or_asks_which(shop_here, painter):
    sheet = painter.open("/bench").follow("Measure by photograph")
    assert sheet.address == shop_here.at("/photographs/new")
    shop_here.hand.do(job.OpenJob, work_order="W-other", title="Another van")
    asked = painter.open("/photographs/new")
    assert asked.heading == "Which job are the cards of?"
    assert asked.follow("Another van, W-other").heading.startswith("Photograph")


def test_a_photograph_nobody_kept_is_not_there(shop_here, painter):
    for name in ("0" * 64, "x", "..%2F..%2Fetc"):
        assert painter.open(shop_here.at(f"/photographs/{name}")).status == 404


def test_a_repair_s_card_may_lie_beside_the_stored_master(shop_here, painter):
    stored = shop_here.master
    shop_here.hand.job_id = shop_here.hand.do(
        job.OpenJob,
        work_order="R-9",
        title="A chip",
        repairs_job_id=shop_here.hand.job_id,
        repairs_finish_id=shop_here.hand.finish,
        damage="A chip",
    )
    shop_here.hand.finish = shop_here.file.all(job.Finish)[0].root
    shop_here.other = shop_here.batch_with_card()
    shop_here.shows({"card": NEAR, "master": MASTER})
    read = shop_here.take(painter)
    choices = read.choices("lying.1.card_id")
    (named,) = [text for text, value in choices.items() if value == stored.card]
    assert named.endswith("batch 1, the stored master")
    done = read.send(
        lying__1__card_id=stored.card, lying__0__stage="baked", lying__1__stage="baked"
    )
    assert done.address == f"/c/{shop_here.other.code}?saved=photograph"
    assert verdict_on_batch(shop_here.file, shop_here.other.batch).word is Word.BLENDS
    rests = done.follow("What this rests on")
    assert rests.status == 200
    assert "It rests on one photograph" in rests.main.text
    assert f"Batch 1, card {stored.code[:4]}" in rests.main.text


def test_what_a_verdict_rests_on_shows_the_photograph_and_its_conditions(shop_here, painter):
    shop_here.shows({"card": NEAR, "master": MASTER})
    done = shop_here.take(painter).send(lying__0__stage="baked", lying__1__stage="baked")
    rests = done.follow("What this rests on")
    assert "Both cards lie in one photograph" in rests.main.text
    assert "for D50 and the 2° observer" in rests.main.text
    again = rests.follow("Photograph 1")
    assert "Readings of it are on record since" in again.main.text
    assert "Save what these cards read once more" in again.main.text
    assert "Nothing is on record yet" not in again.main.text


# --- The sheet, and the shop's book ----------------------------------------------------------


def test_the_sheet_is_offered_on_both_papers_plain_and_with_a_code(shop_here, painter):
    sheet = painter.open("/photo-sheet")
    plain = sheet.link("A4 as PDF")
    assert plain == "/photo-sheet/a4/0000.pdf"
    answer = painter.client.get("/photo-sheet/letter/0000.json")
    assert answer.json()["name"] == "Photo sheet Letter"
    assert 'filename="photo-sheet-letter.json"' in answer.headers["content-disposition"]
    assert painter.client.get(plain).content.startswith(b"%PDF")
    assert painter.open("/photo-sheet/a3/0000.pdf").status == 404
    assert painter.open("/photo-sheet/a4/0000.exe").status == 404
    assert painter.open("/photo-sheet/a4/OIL!.pdf").status == 422
    assert "A manager registers it" in sheet.main.text


@pytest.fixture
def manager(shop_here):
    return shop_here.browser(shop_here.manager)


def register(browser, files=(), **fields):
    fields = {"name": "Bench sheet", "kind": "a4", **fields}
    sheet = browser.open("/shop").follow("Register a photo sheet")
    sent = {**{name: values[0] for name, values in sheet.fields().items()}, **fields}
    return browser._sheet(browser.client.post(sheet.address, data=sent, files=dict(files)))


def book(shop_here):
    return shop_here.store.shop().all(PhotoTarget)


def test_a_print_is_registered_with_its_nominal_values(shop_here, manager):
    sheet = manager.open("/photo-sheet")
    code = sheet.main.one("strong").text
    form = sheet.follow(f"Register the print {code}")
    assert form.fields()["print_code"] == [code]
    done = register(manager, print_code="7k3q")
    assert done.address == "/shop?saved=photo_target"
    (row,) = table(done, "Sheets and charts")
    assert row[:3] == ["Bench sheet", "7K3Q", "Nominal"]
    assert manager.open(shop_here.at("/photographs/new")).choices("sheet")["Bench sheet"]


def _readings(patches, shift=0.5, header="# illuminant: D50\n# observer: 2\n# geometry: 45:0\n"):
    rows = [f"{p['name']},{','.join(str(v + shift) for v in p['lab'])}" for p in patches]
    return (header + "name,L,a,b\n" + "\n".join(rows) + "\n").encode()


def test_a_chart_is_registered_by_its_file_and_the_readings_of_its_patches(shop_here, manager):
    chart = target_file(name="A bought chart")
    instrument = shop_here.instrument()
    done = register(
        manager,
        files={
            "target": ("chart.json", json.dumps(chart).encode(), "application/json"),
            "readings": ("chart.csv", _readings(chart["patches"]), "text/csv"),
        }.items(),
        kind="chart",
        print_code="",
        name="Bought chart",
        instrument_id=instrument,
        measured_at="2026-06-01",
    )
    assert done.errors == []
    (sheet,) = book(shop_here)
    assert sheet.values == "measured"
    patch = sheet.as_target().patches[0]
    assert patch.lab == pytest.approx((95.5, 0.5, 0.5))
    assert patch.standard_uncertainty == 0.05
    (row,) = table(done, "Sheets and charts")
    assert row[2:4] == ["Measured", "8"]
    assert "Bench sphere" in row[4]


@pytest.mark.parametrize(
    ("fields", "file", "why"),
    [
        ({"print_code": ""}, None, "The print code is missing"),
        ({"print_code": "OIL!"}, None, "is not a print code"),
        ({"print_code": "7K3Q", "name": ""}, None, "name"),
        ({"kind": "chart"}, None, "No target file was chosen"),
        ({"kind": "chart"}, b"{", "no JSON"),
        ({"kind": "chart"}, b"{}", "width_mm"),
    ],
)
def test_a_sheet_that_cannot_be_registered_is_refused_in_words(
    shop_here, manager, fields, file, why
):
    files = {} if file is None else {"target": ("chart.json", file, "application/json")}
    again = register(manager, files=files.items(), **fields)
    assert again.status == 422
    assert any(why in error for error in again.errors), again.errors
    assert not book(shop_here)


def test_a_sheet_is_corrected_and_withdrawn_from_the_book(shop_here, manager):
    register(manager, print_code="7K3Q")
    (sheet,) = book(shop_here)
    page = manager.open(f"/shop/correct/photo_targets/{sheet.root}")
    assert "target" not in page.fields()
    done = page.send(note="It hangs by the bench.", why="Nobody had said where.")
    assert done.status == 200
    assert book(shop_here)[0].note == "It hangs by the bench."
    shop_here.hand.do(
        shop.RegisterPhotoTarget, name="Another", target=target_file(), print_code="ABCD"
    )
    taken = manager.open(f"/shop/correct/photo_targets/{sheet.root}").send(
        name="Another", why="A slip."
    )
    assert taken.status == 409


def test_nobody_but_a_manager_sees_the_form(shop_here, painter):
    assert painter.open("/shop/photo-targets/new").status == 403
    assert "Register a photo sheet" not in painter.open("/shop").main.text


def test_a_card_in_the_frame_shows_its_photograph(shop_here, painter):
    shop_here.shows({"card": NEAR, "master": MASTER})
    shop_here.take(painter).send(lying__0__stage="baked", lying__1__stage="baked")
    card = shop_here.file.get(Card, shop_here.other.card)
    sheet = painter.open(f"/c/{card.code}")
    assert "from a photograph" in sheet.main.text
    assert "On Invented sheet" in sheet.main.one("section", **{"aria-labelledby": "photos"}).text
