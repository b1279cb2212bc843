"""Photographs from stored bytes to verdicts, on a real store; the reader is a stand-in."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from uuid import uuid4

import pytest

from service.domain.lookups import readings_of_card, verdict_on_batch, verdict_on_joint
from service.domain.records.cards import Card, Photo
from service.domain.records.job import Finish
from service.domain.records.measuring import Frame, Reading
from service.domain.records.shop import PLAIN_SHEETS, PhotoTarget
from service.domain.refused import AlreadyThere, Invalid, KeyReused, NotAllowed
from service.domain.terms import (
    CardKind,
    FinishKind,
    JointKind,
    Method,
    PatchValues,
    Specular,
    Stage,
    Word,
)
from service.storage.verify import verify
from service.use_cases import correcting, job, measuring, shop
from service.use_cases.photo_reading import (
    PhotographRefused,
    cards_offered,
    judge_windows,
    judgement_as_json,
    known_prints,
    printed_sheet,
    read_photograph,
)
from service.use_cases.photo_targets import measured_target
from service.use_cases.photographs import (
    Lying,
    NewPhotograph,
    evidence_of,
    job_of_cards,
    log_photographed,
)
from tests.photographs import FakeReader, photo_read, target_file
from tests.shop_hand import ShopHand

MASTER = (42.0, 3.0, -18.0)
NEAR = (42.1, 3.0, -18.0)
FAR = (42.0, 3.0, -21.0)


@dataclass
class Phone:
    """Somebody with a phone: takes photographs of cards on the sheet and logs them."""

    hand: ShopHand
    reader: FakeReader

    def take(self, windows, content=None, **read):
        content = content or uuid4().bytes
        self.reader.says[content] = photo_read(windows, **read)
        return self.hand.store.photos.put(content)

    def said(self, sha, stage=Stage.BAKED, **cards):
        lying = tuple(
            Lying(window=window.replace("_", " "), card_id=card, stage=stage)
            for window, card in cards.items()
        )
        return NewPhotograph(
            id=str(uuid4()), job_id=self.hand.job_id, photo_sha256=sha, lying=lying
        )

    def log(self, said, by=None):
        return log_photographed(
            self.hand.store, self.reader, self.hand.store.photos, by or self.hand.painter, said
        )


@pytest.fixture
def phone(store):
    return Phone(ShopHand(store), FakeReader())


def cards_of(hand, count=2, **finish):
    """A job whose first card is a master that an instrument read."""
    hand.open(**finish)
    made = []
    for _ in range(count):
        batch = hand.batch()
        made.append(hand.card(batch))
    hand.bake(*made)
    hand.master(made[0], hand.read(made[0], (41.0, 2.0, -17.0)))
    return made


def batch_of(hand, card):
    return hand.file.get(Card, card).batch_id


def test_a_photograph_of_master_and_card_judges_the_batch(phone):
    hand = phone.hand
    master, card = cards_of(hand)
    sha = phone.take({"master": MASTER, "card": NEAR})
    phone.log(phone.said(sha, master=master, card=card))

    verdict = verdict_on_batch(hand.file, batch_of(hand, card))
    assert verdict.word is Word.BLENDS
    assert verdict.delta_l == pytest.approx(0.1)
    assert verdict.sentence.endswith("By photograph, under the conditions of its sheet.")
    evidence = json.loads(verdict.evidence)["photographs"]
    assert evidence["how"] == "one_frame"
    assert evidence["frames"][0]["photo_sha256"] == sha

    (frame,) = hand.file.all(Frame)
    assert frame.windows == ("master", "card")
    assert frame.target == "Invented sheet" and frame.photo_target_id is None
    assert evidence_of(frame)["fit"]["left_out_mean_delta_e_2000"] == 0.8
    assert evidence_of(frame)["windows"]["card"]["pixels"] == 8001
    reading = readings_of_card(hand.file, card)[-1]
    assert (reading.method, reading.geometry) == (Method.PHOTOGRAPH, "photograph")
    assert (reading.illuminant, reading.observer) == ("D50", 2)
    assert reading.angles[0].covariance is not None
    assert {photo.card_id for photo in hand.file.all(Photo)} == {master, card}
    assert verify(hand.store).ok


def test_only_the_windows_named_are_logged_with_their_own_covariance(phone):
    hand = phone.hand
    _, a, b = cards_of(hand, 3)
    sha = phone.take({"master": MASTER, "card": NEAR, "card 2": FAR})
    phone.log(phone.said(sha, card_2=b, card=a))
    (frame,) = hand.file.all(Frame)
    assert frame.windows == ("card 2", "card")
    assert len(frame.covariance) == 6
    labs = [hand.file.get(Reading, id).angles[0].repeats[0] for id in frame.reading_ids]
    assert labs == [FAR, NEAR]


def test_the_numbers_come_from_the_stored_bytes_and_a_repeat_changes_nothing(phone):
    hand = phone.hand
    master, card = cards_of(hand)
    sha = phone.take({"master": MASTER, "card": NEAR})
    said = phone.said(sha, master=master, card=card)
    first = phone.log(said)
    content = hand.store.photos.get(sha)
    assert phone.reader.asked[-1]["content"] == content
    # A newer reader that sees a little more still knows the repeat for one.
    phone.reader.says[content] = photo_read({"master": MASTER, "card": FAR})
    assert phone.log(said) == first
    assert len(hand.file.all(Frame)) == 1
    with pytest.raises(KeyReused):
        phone.log(replace(said, caption="Another"))


def test_swapping_the_cards_and_taking_another_averages_the_two(phone):
    hand = phone.hand
    master, card = cards_of(hand)
    first = phone.take({"master": MASTER, "card": (42.5, 3.0, -18.0)})
    phone.log(phone.said(first, master=master, card=card))
    second = phone.take({"master": (41.7, 3.0, -18.0), "card": MASTER})
    phone.log(phone.said(second, master=card, card=master))
    verdict = verdict_on_batch(hand.file, batch_of(hand, card))
    assert json.loads(verdict.evidence)["photographs"]["how"] == "swapped"
    assert verdict.delta_l == pytest.approx((0.5 - 0.3) / 2)
    assert verdict.look == 2


def test_a_joint_of_two_cards_each_photographed_with_the_master(phone):
    hand = phone.hand
    master, a, b = cards_of(hand, 3)
    panels = [hand.panel("Door"), hand.panel("Wing")]
    for panel, card in zip(panels, (a, b), strict=True):
        hand.spray(batch_of(hand, card), panel_ids=(panel,))
    joint = hand.on_job(job.AddJoint, kind=JointKind.BUTT, panel_a=panels[0], panel_b=panels[1])
    for card, lab in ((a, (42.4, 3.0, -18.0)), (b, (41.6, 3.0, -18.0))):
        sha = phone.take({"master": MASTER, "card": lab})
        phone.log(phone.said(sha, master=master, card=card))
    verdict = verdict_on_joint(hand.file, joint)
    assert "through the master" in verdict.sentence
    assert verdict.delta_l == pytest.approx(-0.8)
    sha = phone.take({"master": MASTER, "card": NEAR})
    phone.log(phone.said(sha, master=a, card=b))
    verdict = verdict_on_joint(hand.file, joint)
    assert json.loads(verdict.evidence)["photographs"]["how"] == "one_frame"
    assert verdict.delta_l == pytest.approx(0.1)


def test_dropping_one_window_judges_the_other_card_without_the_photograph(phone):
    hand = phone.hand
    master, card = cards_of(hand)
    read = hand.read(card, (41.0, 2.0, -17.0))
    before = verdict_on_batch(hand.file, batch_of(hand, card))
    sha = phone.take({"master": MASTER, "card": FAR})
    phone.log(phone.said(sha, master=master, card=card))
    assert verdict_on_batch(hand.file, batch_of(hand, card)).word is Word.SHOWS
    window = readings_of_card(hand.file, master)[-1]
    hand.on_job(measuring.DropReading, reading_id=window.root, why="A thumb lay on it.")
    after = verdict_on_batch(hand.file, batch_of(hand, card))
    assert after.word is before.word is Word.BLENDS
    assert read in after.reading_ids


def test_a_metallic_is_never_settled_by_a_photograph(phone):
    hand = phone.hand
    master, card = cards_of(hand, kind=FinishKind.METALLIC)
    sha = phone.take({"master": MASTER, "card": FAR})
    phone.log(phone.said(sha, master=master, card=card))
    verdict = verdict_on_batch(hand.file, batch_of(hand, card))
    assert verdict.word is Word.CANNOT_TELL
    assert "cannot judge flop" in verdict.sentence


def test_a_repair_s_card_is_photographed_beside_the_stored_master(phone):
    hand = phone.hand
    master, _ = cards_of(hand)
    stored_job, stored_finish = hand.job_id, hand.finish
    hand.job_id = hand.do(
        job.OpenJob,
        work_order="W-repair",
        title="Repair",
        repairs_job_id=stored_job,
        repairs_finish_id=stored_finish,
        damage="A stone chip",
    )
    hand.finish = hand.file.all(Finish)[0].root
    card = hand.card(hand.batch(), kind=CardKind.TRIAL)
    hand.bake(card)
    sha = phone.take({"master": MASTER, "card": NEAR})
    phone.log(phone.said(sha, master=master, card=card))
    verdict = verdict_on_batch(hand.file, batch_of(hand, card))
    assert verdict.word is Word.BLENDS
    assert verdict.other_card_id == master
    assert verify(hand.store).ok
    window = next(r for r in hand.file.all(Reading) if r.card_id == master)
    hand.on_job(measuring.DropReading, reading_id=window.root, why="It was another card.")
    assert verdict_on_batch(hand.file, batch_of(hand, card)).word is Word.NOT_COMPARABLE


def test_cards_of_jobs_that_have_nothing_to_do_with_each_other_are_no_photograph(phone):
    hand = phone.hand
    cards_of(hand)
    first = hand.job_id
    cards_of(hand)
    assert job_of_cards(hand.store, [first, first]) == first
    with pytest.raises(Invalid, match="nothing to do with each other"):
        job_of_cards(hand.store, [first, hand.job_id])
    repair = hand.do(
        job.OpenJob,
        work_order="W-r",
        title="Repair",
        repairs_job_id=first,
        repairs_finish_id=hand.store.job(first).all(Finish)[0].root,
        damage="A chip",
    )
    assert job_of_cards(hand.store, [first, repair]) == repair


@pytest.mark.parametrize(
    ("windows", "why"),
    [
        ({}, "No window holds a card"),
        ({"lid": "a"}, "no window 'lid'. Its windows are: master, card"),
        ({"master": "a", "card": "a"}, "stands in two windows"),
    ],
)
def test_an_assignment_that_cannot_be_is_refused_in_words(phone, windows, why):
    _, card = cards_of(phone.hand)
    sha = phone.take({"master": MASTER, "card": NEAR})
    with pytest.raises(Invalid, match=why):
        phone.log(phone.said(sha, **dict.fromkeys(windows, card)))


def test_a_photograph_that_cannot_be_trusted_logs_nothing(phone):
    _, card = cards_of(phone.hand)
    sha = phone.hand.store.photos.put(b"a blank wall")
    with pytest.raises(PhotographRefused, match="Lay the cards on the sheet") as refused:
        phone.log(phone.said(sha, card=card))
    assert refused.value.as_json()[0]["code"] == "no_target"
    with pytest.raises(Invalid, match="Send the file first"):
        phone.log(phone.said("0" * 64, card=card))
    assert not phone.hand.file.all(Frame)


def test_cards_are_offered_by_their_labels_only(phone):
    hand = phone.hand
    _, card = cards_of(hand)
    code = hand.file.get(Card, card).code
    read = photo_read(
        {"master": MASTER, "card": NEAR},
        codes=[(f"https://shop.example/c/{code}", "card"), ("KC/A4/TL/0000", "master")],
    )
    (offered,) = cards_offered(hand.store.card_by_code, read)
    assert (offered.window, offered.card_id, offered.code) == ("card", card, code)


def test_the_difference_of_two_windows_has_the_covariance_they_do_not_share():
    read = photo_read({"card": NEAR, "card 2": FAR, "master": MASTER})
    judgement = judge_windows(read, limit=0.8, risk=0.05)
    answer = judgement_as_json(read, judgement)
    assert answer["verdict"] == "blends"
    assert answer["delta_e_2000"] == pytest.approx(0.1, abs=0.02)
    # The shared variance of 4 has cancelled: what is left is that of two windows of 0.005 each.
    assert answer["standard_uncertainty"] == pytest.approx(0.1, rel=0.3)
    assert judge_windows(photo_read({"card": NEAR}), limit=0.8, risk=0.05) is None


# --- Registered sheets -----------------------------------------------------------------------


def marked(code, **changes):
    markers = [
        {"name": corner, "x_mm": 1.0, "y_mm": 1.0, "width_mm": 9.0, "height_mm": 9.0,
         "text": f"KC/A4/{corner}/{code}"}
        for corner in ("TL", "TR", "BR", "BL")
    ]  # fmt: skip
    return target_file(markers=markers, **changes)


def test_a_registered_print_is_known_by_its_code_and_named_in_the_frame(phone):
    hand = phone.hand
    master, card = cards_of(hand)
    id = hand.do(shop.RegisterPhotoTarget, name="Bench sheet", target=marked("7K3Q"))
    sheet = hand.store.shop().get(PhotoTarget, id)
    assert (sheet.print_code, sheet.values) == ("7K3Q", PatchValues.NOMINAL)
    assert set(known_prints(hand.store.shop())) == {"7K3Q"}
    sha = phone.take({"master": MASTER, "card": NEAR}, target="Bench sheet")
    phone.log(phone.said(sha, master=master, card=card))
    assert phone.reader.asked[-1]["targets"]["7K3Q"].name == "Bench sheet"
    (frame,) = hand.file.all(Frame)
    assert frame.photo_target_id == id
    assert verify(hand.store).ok


def test_a_print_code_stands_for_one_sheet_at_a_time(phone):
    hand = phone.hand
    first = hand.do(shop.RegisterPhotoTarget, name="One", target=marked("7K3Q"))
    with pytest.raises(AlreadyThere, match="7K3Q is registered already, as One"):
        hand.do(shop.RegisterPhotoTarget, name="Two", target=marked("7K3Q"))
    with pytest.raises(Invalid, match="the codes in the target file say 7K3Q"):
        hand.do(shop.RegisterPhotoTarget, name="Two", target=marked("7K3Q"), print_code="ABCD")
    hand.do(
        correcting.CorrectShop,
        table="photo_targets",
        record_id=first,
        why="It faded.",
        withdraw=True,
    )
    second = hand.do(shop.RegisterPhotoTarget, name="Two", target=marked("7K3Q"))
    assert hand.store.shop().all(PhotoTarget)[0].root == second
    plain = hand.do(shop.RegisterPhotoTarget, name="Three", target=marked("0000"))
    assert hand.store.shop().get(PhotoTarget, plain).print_code is None


@pytest.mark.parametrize(
    ("fields", "why"),
    [
        ({"target": {}}, "width_mm"),
        ({"target": target_file(patches=[])}, "At least 6"),
        ({"target": target_file(values="guessed")}, 'Write "nominal" or "measured"'),
        ({"print_code": "0000"}, "not registered"),
        ({"print_code": "OIL"}, "not a print code"),
        ({"name": "photo sheet A4"}, "Give this one another name"),
        ({"target": target_file(name="x" * 250_000)}, "Keep it to"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused_in_words(phone, fields, why):
    with pytest.raises(Invalid, match=why):
        phone.hand.do(
            shop.RegisterPhotoTarget, **{"name": "Sheet", "target": target_file(), **fields}
        )


def test_the_plain_sheets_are_called_as_the_record_says():
    assert tuple(printed_sheet(paper).name for paper in ("a4", "letter")) == PLAIN_SHEETS
    assert printed_sheet("a4", "7K3Q").name not in PLAIN_SHEETS


def test_only_a_manager_registers_a_sheet(phone):
    with pytest.raises(NotAllowed):
        phone.hand.do(
            shop.RegisterPhotoTarget,
            by=phone.hand.painter,
            name="Sheet",
            target=target_file(),
        )


def test_a_chosen_chart_is_read_by_its_own_numbers(phone):
    hand = phone.hand
    id = hand.do(shop.RegisterPhotoTarget, name="Bought chart", target=target_file())
    content = b"a chart"
    phone.reader.says[content] = photo_read({"card": NEAR})
    read_photograph(hand.store.shop(), phone.reader, content, photo_target_id=id)
    assert phone.reader.asked[-1]["target"].name == "Bought chart"
    with pytest.raises(Invalid, match="3 corners were given"):
        read_photograph(hand.store.shop(), phone.reader, content, corners=((0, 0), (1, 0), (1, 1)))


@dataclass
class PatchRead:
    """One sample of a readings file."""

    name: str
    labs: tuple
    conditions: object

    def labs_by_angle(self):
        return {None: self.labs}


@dataclass
class Under:
    illuminant: str | None = "D50"
    observer: int | None = 2
    specular: Specular | None = None


GLOSS = Under(specular=Specular.INCLUDED)


def sheet_and_patches(under=None):
    from colour.photo.target import Target

    sheet = Target.from_json(target_file())
    read = [
        PatchRead(patch.name.upper(), tuple(
            tuple(x + 0.5 + dx for x in patch.lab) for dx in (-0.1, 0.0, 0.1)
        ), under or Under())
        for patch in sheet.patches
    ]  # fmt: skip
    return sheet, read


def test_measured_patches_take_the_place_of_the_nominal_ones():
    sheet, read = sheet_and_patches()
    target = measured_target(sheet, read, standard_uncertainty=0.1)
    assert target["values"] == "measured"
    assert target["patches"][0]["lab"] == pytest.approx([95.5, 0.5, 0.5])
    # Three repeats that scatter by 0.1, beside an instrument of 0.1.
    assert target["patches"][0]["standard_uncertainty"] == pytest.approx(
        (0.1**2 + 0.1**2 / 3) ** 0.5
    )
    one = measured_target(sheet, [replace(p, labs=p.labs[:1]) for p in read])
    assert one["patches"][0]["standard_uncertainty"] == 0.3


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda read: read[1:], "no reading of grey 95"),
        (lambda read: [replace(read[0], conditions=Under("D65")), *read[1:]], "unlike conditions"),
        (lambda read: [replace(p, conditions=Under(None)) for p in read], "does not say"),
        (
            lambda read: [replace(p, conditions=Under(specular=Specular.INCLUDED)) for p in read],
            "camera",
        ),
    ],
)
def test_patches_that_cannot_stand_for_the_sheet_are_refused(change, why):
    sheet, read = sheet_and_patches()
    with pytest.raises(Invalid, match=why):
        measured_target(sheet, change(read))
