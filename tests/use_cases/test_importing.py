"""Readings files matched to cards: what would be stored, every problem at once, stored once.

The files are read by the program's own reader; the record is in memory.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any
from uuid import uuid4

import pytest

from colour.difference import delta_e_2000
from colour.spectra import lab_from_reflectance
from service.domain.card_code import grouped
from service.domain.from_spectra import FROM_SPECTRA
from service.domain.records.cards import Card
from service.domain.records.measuring import AngleSpectrum, Reading
from service.domain.refused import Invalid
from service.domain.terms import Stage, ZoneState
from service.exchange.reading_files import read_readings
from service.exchange.readings import Reading as FileReading
from service.exchange.readings import ReadingsFile, Sample
from service.use_cases import cards as card_verbs
from service.use_cases import shop as shop_verbs
from service.use_cases.command import perform
from service.use_cases.correcting import Correct
from service.use_cases.import_plan import plan_import
from service.use_cases.importing import (
    AlreadyOnRecord,
    ImportPlan,
    ImportReadings,
    ImportRefused,
    Stated,
    as_json,
    import_id,
    spectra_words,
    store_import,
    verdicts_after,
)
from service.use_cases.measuring import DropReading, JobReading, Measured
from tests.fakes import FakeQueries, FakeStore
from tests.shop_hand import ShopHand

SAID = Stated(
    stage="baked",
    illuminant="D65",
    observer=10,
    geometry="45:0",
    specular="excluded",
    temperature_c=22.0,
)
WAVELENGTHS = tuple(range(400, 710, 10))
GREY = (0.2,) * len(WAVELENGTHS)


class Shop:
    """A shop with a master and two cards that were never read."""

    def __init__(self) -> None:
        self.store = FakeStore()
        self.hand = hand = ShopHand(self.store)
        hand.open()
        master, self.first, self.second = (hand.card(hand.batch()) for _ in range(3))
        hand.bake(master, self.first, self.second)
        hand.master(master, hand.read(master, (25.0, -12.0, 6.0), geometry="45:0"))
        self.queries = FakeQueries(self.store)

    def code(self, card: str) -> str:
        return grouped(self.hand.file.get(Card, card).code)

    def plan(self, text: str | ReadingsFile, stated: Stated = SAID, **more: Any) -> ImportPlan:
        def place_of(code: str) -> tuple[str, str] | None:
            line = self.queries.card_by_code(code)
            return None if line is None else (line.job_id, line.id)

        more.setdefault("source", "monday.csv")
        file = read_readings(text.encode()) if isinstance(text, str) else text
        return plan_import(file, stated, store=self.store, place_of_code=place_of, **more)

    def store_it(self, plan: ImportPlan) -> Any:
        return store_import(self.store, self.hand.painter, plan)

    def read(self) -> list[Reading]:
        return self.hand.file.all(Reading)[1:]


@pytest.fixture
def shop() -> Shop:
    return Shop()


def rows(*named: tuple[str, float, float, float]) -> str:
    return "name,L,a,b\n" + "".join(",".join(map(str, one)) + "\n" for one in named)


def spectra(*named: tuple[str, tuple[float, ...]], labs: tuple[Any, ...] = ()) -> str:
    """A CSV of spectra, with L*, a*, b* before them where any are given."""
    head = "name," + ("L,a,b," if labs else "") + ",".join(f"{nm} nm" for nm in WAVELENGTHS)
    before = labs or ((),) * len(named)
    lines = [
        ",".join(map(str, (n, *lab, *row))) for (n, row), lab in zip(named, before, strict=True)
    ]
    return "\n".join([head, *lines, ""])


def kinds(plan: ImportPlan) -> list[str]:
    return [problem.kind for problem in plan.problems]


def notes(plan: ImportPlan) -> dict[str, str]:
    return {note.code: note.message for note in plan.notes}


# ---- which card, which surface


def test_each_sample_is_planned_for_the_card_whose_code_is_its_name(shop):
    code = shop.code(shop.first)
    plan = shop.plan(rows((code.lower(), 25, -12, 6), (shop.code(shop.second), 26, -12, 6)))
    assert not plan.problems
    assert [one.reading.reading.card_id for one in plan.readings] == [shop.first, shop.second]
    assert plan.readings[0].code == code
    assert plan.readings[0].batch_number == 2
    assert plan.readings[0].reading.reading.source == "monday.csv"


def test_names_that_end_in_numbers_are_the_repeats_of_one_reading(shop):
    code = shop.code(shop.first)
    text = rows((code, 25, -12, 6), (f"{code} 3", 25.2, -12, 6), (f"{code} 2", 25.1, -12, 6))
    (one,) = shop.plan(text).readings
    assert one.samples == (1, 3, 2)
    assert [lab[0] for lab in one.reading.reading.angles[0].repeats] == [25, 25.1, 25.2]


def test_a_number_that_stands_twice_and_repeats_too_far_apart_are_refused(shop):
    code = shop.code(shop.first)
    twice = shop.plan(rows((f"{code} 2", 25, -12, 6), (f"{code} r2", 25.1, -12, 6)))
    assert kinds(twice) == ["repeat_twice"]
    assert "repeat number 2 stands twice" in twice.problems[0].sentence
    apart = shop.plan(rows((f"{code} 1", 25, -12, 6), (f"{code} 2", 31, -12, 6)))
    assert kinds(apart) == ["colours"]
    assert "lie up to 6.0 CIELAB units apart" in apart.problems[0].what


def test_a_stage_in_the_name_holds_where_the_file_has_none(shop):
    code = shop.code(shop.first)
    text = rows((f"{code} baked", 25, -12, 6), (f"{code} polished", 25, -12, 6))
    plan = shop.plan(text, Stated(illuminant="D65", observer=10, geometry="45:0"))
    assert [one.reading.reading.stage for one in plan.readings] == [Stage.BAKED, Stage.POLISHED]


def test_a_stage_in_the_name_that_contradicts_the_file_is_refused(shop):
    text = f"name,stage,L,a,b\n{shop.code(shop.first)} polished,baked,25,-12,6\n"
    plan = shop.plan(text, Stated(illuminant="D65", observer=10, geometry="45:0"))
    assert "the file says stage baked, its name says polished" in plan.problems[0].what


def test_a_zone_in_the_name_gives_the_reading_its_zone(shop):
    zone = shop.hand.on_job(
        card_verbs.AddZone,
        card_id=shop.first,
        zone=card_verbs.CardZone(name="As sprayed", state=ZoneState.CLEARED, cleared=True),
    )
    (one,) = shop.plan(rows((f"{shop.code(shop.first)} as sprayed", 25, -12, 6))).readings
    assert one.reading.reading.zone_id == zone
    assert one.zone == "As sprayed"


def test_a_name_of_two_cards_is_ambiguous_and_said_so(shop):
    one, other = shop.code(shop.first), shop.code(shop.second)
    plan = shop.plan(rows((f"{one} to {other}", 25, -12, 6)))
    assert kinds(plan) == ["two_cards"]
    assert f"names two cards, {one} and {other}" in plan.problems[0].sentence


def test_everything_that_is_wrong_is_told_at_once(shop):
    code = shop.code(shop.first)
    text = rows((f"{code} back", 25, -12, 6), ("tile", 95, 0, 0), (code, 25, -12, 6))
    plan = shop.plan(text, Stated())
    told = [(problem.sample, problem.kind) for problem in plan.problems]
    assert told == [(1, "name"), (1, "unsaid"), (2, "no_card"), (2, "unsaid"), (3, "unsaid")]
    assert plan.unsaid == ("stage", "illuminant", "observer", "geometry")
    with pytest.raises(ImportRefused, match="Nothing was stored") as refused:
        shop.store_it(plan)
    assert len(refused.value.problems) == 5
    assert not shop.read()


def test_samples_of_no_card_are_left_out_only_by_word(shop):
    text = rows((shop.code(shop.first), 25, -12, 6), ("tile", 95, 0, 0))
    assert kinds(shop.plan(text)) == ["no_card"]
    plan = shop.plan(text, leave_out_unknown=True)
    assert not plan.problems and len(plan.readings) == 1
    assert "left out: tile." in notes(plan)["left_out"]
    none = shop.plan(rows(("tile", 95, 0, 0)), leave_out_unknown=True)
    assert kinds(none) == ["empty"]


def test_samples_of_one_card_given_by_its_code(shop):
    code = shop.code(shop.first)
    (one,) = shop.plan(rows(("anything", 25, -12, 6)), card=code).readings
    assert one.reading.reading.card_id == shop.first
    unlike = shop.plan(rows(("door", 25, -12, 6), ("wing", 25, -12, 6)), card=code, option="--")
    assert unlike.problems[0].what.endswith("so --card cannot stand for all.")
    other = shop.plan(rows((shop.code(shop.second), 25, -12, 6)), card=code)
    assert kinds(other) == ["other_card"]


# ---- conditions


def test_what_is_stated_must_not_contradict_the_file_unless_it_fills_gaps(shop):
    text = (
        "name,illuminant,L,a,b\n"
        f"{shop.code(shop.first)},D50,25,-12,6\n{shop.code(shop.second)},,25,-12,6\n"
    )
    plan = shop.plan(text, option="--")
    assert [p.sample for p in plan.problems] == [1]
    assert "the file says illuminant D50, --illuminant says D65" in plan.problems[0].what
    filled = shop.plan(text, fill_gaps=True)
    assert [one.reading.reading.illuminant for one in filled.readings] == ["D50", "D65"]


def test_an_instrument_brings_its_geometry_and_one_nobody_knows_is_asked_for(shop):
    shop.hand.do(shop_verbs.RegisterInstrument, name="Bench sphere", geometry="d:8")
    text = f"name,instrument,L,a,b\n{shop.code(shop.first)},bench SPHERE,25,-12,6\n"
    stated = Stated(stage="baked", illuminant="D65", observer=10)
    (one,) = shop.plan(text, stated).readings
    assert one.instrument == "Bench sphere"
    unknown = shop.plan(text.replace("bench SPHERE", "Maker 7"), stated)
    assert unknown.unsaid == ("instrument",)
    assert "no instrument is registered as Maker 7" in unknown.problems[0].what
    without = Stated(stage="baked", illuminant="D65", observer=10, geometry="d:8", instrument="")
    (one,) = shop.plan(text.replace("bench SPHERE", "Maker 7"), without).readings
    assert one.reading.reading.instrument_id is None


# ---- spectra


def test_a_spectrum_alone_is_kept_with_the_colour_it_gives(shop):
    # By the definition of CIELAB (ISO/CIE 11664-4) a reflectance of 0.2 throughout has
    # L* = 116 * 0.2 ** (1/3) - 16 and a* = b* = 0 under every light; the record keeps four digits
    # of what is worked out.
    code = shop.code(shop.first)
    plan = shop.plan(spectra((code, GREY), (code, GREY)))
    (one,) = plan.readings
    measured = one.reading.reading
    assert len(measured.angles[0].repeats) == 2
    for lightness, a, b in measured.angles[0].repeats:
        assert lightness == pytest.approx(116 * 0.2 ** (1 / 3) - 16, abs=5e-5)
        assert (a, b) == pytest.approx((0, 0), abs=5e-5)
    assert measured.spectra[0].reflectance == (GREY, GREY)
    assert spectra_words(measured) == "2 spectra 400–700 nm by 10"
    assert code in notes(plan)["lab_from_spectrum"]
    assert shop.store_it(plan) is not None
    (reading,) = shop.read()
    assert reading.spectra == measured.spectra
    assert reading.source == f"monday.csv {FROM_SPECTRA}"


def test_a_lab_beside_its_spectrum_is_the_files_own_and_held_against_it(shop):
    code = shop.code(shop.first)
    slope = tuple(0.1 + 0.002 * n for n in range(len(WAVELENGTHS)))
    under_d50 = lab_from_reflectance(slope, WAVELENGTHS, illuminant="D50", observer=2)
    under_d65 = lab_from_reflectance(slope, WAVELENGTHS, illuminant="D65", observer=10)
    stated = tuple(round(float(v), 4) for v in under_d50)
    plan = shop.plan(spectra((code, slope), labs=(stated,)))
    (one,) = plan.readings
    assert one.reading.reading.angles[0].repeats == (stated,)
    assert one.reading.reading.spectra
    # An independent figure: scikit-image's CIEDE2000 of the two Labs.
    from skimage.color import deltaE_ciede2000

    figure = float(deltaE_ciede2000(stated, under_d65))
    assert figure > 0.5
    message = notes(plan)["lab_not_of_spectrum"]
    assert f"{code} by {figure:.2f} under D65/10° (they agree under D50/2°)" in message
    assert delta_e_2000(stated, under_d50) < 0.01


def test_a_lab_near_its_spectrum_raises_no_word(shop):
    near = (116 * 0.2 ** (1 / 3) - 16 + 0.2, 0.1, -0.1)
    plan = shop.plan(spectra((shop.code(shop.first), GREY), labs=(near,)))
    assert not {"lab_not_of_spectrum", "lab_from_spectrum", "spectrum_left_out"} & set(notes(plan))


def test_some_repeats_with_lab_and_some_with_spectra(shop):
    """Each repeat's colour from what it has; spectra are kept where every repeat has one."""
    lab, name = (36.0, 0.5, 0.5), shop.code(shop.first)

    def of(*readings: FileReading) -> ReadingsFile:
        sample = Sample(name=name, readings=readings, wavelengths_nm=WAVELENGTHS)
        return ReadingsFile(format="cxf", samples=(sample,))

    both = FileReading(line=1, lab=lab, reflectance=GREY)
    spectrum, alone = FileReading(line=2, reflectance=GREY), FileReading(line=3, lab=lab)
    (one,) = shop.plan(of(both, spectrum)).readings
    repeats = one.reading.reading.angles[0].repeats
    assert repeats[0] == lab
    assert repeats[1][0] == pytest.approx(116 * 0.2 ** (1 / 3) - 16)
    assert one.reading.reading.spectra[0].reflectance == (GREY, GREY)
    plan = shop.plan(of(alone, spectrum))
    measured = plan.readings[0].reading.reading
    assert measured.angles[0].repeats == repeats
    assert not measured.spectra
    assert "1 of 2 repeats have none" in notes(plan)["spectrum_left_out"]
    neither = shop.plan(of(both, FileReading(line=4, xyz=(20.0, 20.0, 20.0))))
    assert "1 of its 2 readings hold neither L*, a*, b* nor a spectrum" in neither.problems[0].what


def test_colours_and_spectra_of_one_name_in_tables_apart_are_one_reading(shop):
    lightness = 116 * 0.2 ** (1 / 3) - 16
    name = shop.code(shop.first)

    def file(lab: tuple[float, float, float]) -> ReadingsFile:
        labs = Sample(name=name, readings=tuple(FileReading(line=n, lab=lab) for n in (1, 2)))
        rows = tuple(FileReading(line=n, reflectance=GREY) for n in (3, 4))
        spectra = Sample(name=name, readings=rows, wavelengths_nm=WAVELENGTHS)
        return ReadingsFile(format="cgats", samples=(labs, spectra))

    plan = shop.plan(file((lightness, 0.0, 0.0)))
    (one,) = plan.readings
    assert one.samples == (1, 2)
    assert one.reading.reading.angles[0].repeats == ((lightness, 0.0, 0.0),) * 2
    assert one.reading.reading.spectra[0].reflectance == (GREY, GREY)
    assert name in notes(plan)["halves_joined"]
    apart = shop.plan(file((lightness + 3, 0.0, 0.0)))
    assert kinds(apart) == ["colours"]
    assert "stands twice, as L*, a*, b* and as spectra, which lie" in apart.problems[0].what


@pytest.mark.parametrize("lab", [(50.0, 0.0, 0.0), None])
def test_a_spectrum_the_record_refuses(shop, lab):
    gaps = (
        "name," + ("L,a,b," if lab else "") + "400 nm,450 nm,500 nm,550 nm,600 nm,650 nm,700 nm\n"
    )
    gaps += f"{shop.code(shop.first)}," + ("50,0,0," if lab else "") + ",".join(["0.2"] * 7) + "\n"
    plan = shop.plan(gaps)
    if lab:
        (one,) = plan.readings
        assert one.reading.reading.angles[0].repeats == (lab,)
        assert not one.reading.reading.spectra
        assert "They must ascend by 20 nm at most" in notes(plan)["spectrum_left_out"]
    else:
        assert kinds(plan) == ["colours"]
        assert "its spectrum gives no L*, a*, b*" in plan.problems[0].what


# ---- stored once


def test_what_is_stored_is_judged_at_once(shop):
    shop.hand.do(shop_verbs.RegisterInstrument, name="Known", standard_uncertainty=0.05)
    text = rows((shop.code(shop.first), 25.1, -12, 6), (shop.code(shop.second), 45, 0, 0))
    plan = shop.plan(text, replace(SAID, instrument="known"))
    receipt = shop.store_it(plan)
    assert receipt.kind == "import_readings"
    assert len(shop.read()) == 2
    words = [verdict.word for verdict in verdicts_after(shop.store, plan)]
    assert len(words) == 2 and words[1] == "shows"


def test_the_same_file_again_gives_the_first_receipt_and_writes_nothing(shop):
    text = rows((shop.code(shop.first), 25, -12, 6))
    first = shop.store_it(shop.plan(text))
    entries = len(shop.store.entries)
    again = shop.plan(text)
    assert [one.on_record.reading_id for one in again.readings] == [shop.read()[0].root]
    assert not again.fresh
    assert shop.store_it(again) == first
    assert len(shop.store.entries) == entries


def test_the_same_readings_by_another_name_and_with_more_said_are_the_same(shop):
    code = shop.code(shop.first)
    shop.store_it(shop.plan(rows((code, 25, -12, 6))))
    more = f"name,temperature_c,L,a,b\n{code},23,25.00,-12.0,6\n"
    plan = shop.plan(more, source="copy.csv")
    assert not plan.fresh
    assert shop.store_it(plan) is None
    assert len(shop.read()) == 1


def test_a_file_that_has_grown_adds_what_is_new(shop):
    first, second = shop.code(shop.first), shop.code(shop.second)
    shop.store_it(shop.plan(rows((first, 25, -12, 6))))
    plan = shop.plan(rows((first, 25, -12, 6), (second, 26, -12, 6)))
    assert [one.code for one in plan.fresh] == [second]
    assert shop.store_it(plan) is not None
    assert [one.card_id for one in shop.read()] == [shop.first, shop.second]


def test_other_repeats_or_another_stage_are_other_readings(shop):
    code = shop.code(shop.first)
    shop.store_it(shop.plan(rows((code, 25, -12, 6))))
    assert shop.plan(rows((code, 25.01, -12, 6))).fresh
    assert shop.plan(rows((f"{code} polished", 25, -12, 6)), Stated(**PLAIN)).fresh


PLAIN: dict[str, Any] = {"illuminant": "D65", "observer": 10, "geometry": "45:0"}


def test_a_dropped_or_corrected_reading_does_not_come_back(shop):
    text = rows((shop.code(shop.first), 25, -12, 6))
    shop.store_it(shop.plan(text))
    root = shop.read()[0].root
    shop.hand.on_job(
        Correct,
        table="readings",
        record_id=root,
        why="it was polished already",
        changes={"stage": "polished"},
    )
    assert not shop.plan(text).fresh
    shop.hand.on_job(DropReading, reading_id=root, why="a fingerprint")
    (one,) = shop.plan(text).readings
    assert one.on_record.dropped and one.on_record.why == "a fingerprint"
    shop.store_it(shop.plan(text))
    assert not shop.read()


def test_a_reading_twice_in_one_file_is_stored_once(shop):
    plan = shop.plan(rows((shop.code(shop.first), 25, -12, 6)))
    twice = ImportReadings(id=str(uuid4()), readings=plan.command.readings * 2)
    perform(shop.store, shop.hand.painter, twice)
    assert len(shop.read()) == 1
    with pytest.raises(AlreadyOnRecord, match="All 2 readings are on record already"):
        perform(
            shop.store, shop.hand.painter, ImportReadings(id=str(uuid4()), readings=twice.readings)
        )


def test_colours_worked_out_from_spectra_tell_readings_apart(shop):
    """A program may send spectra alone; what they give is what makes a reading the same."""

    def sent(share: float) -> ImportReadings:
        spectrum = AngleSpectrum(
            wavelengths_nm=WAVELENGTHS, reflectance=((share,) * len(WAVELENGTHS),)
        )
        reading = Measured(
            stage=Stage.BAKED,
            illuminant="D65",
            observer=10,
            geometry="45:0",
            card_id=shop.first,
            spectra=(spectrum,),
        )
        item = JobReading(job_id=shop.hand.job_id, reading=reading)
        return ImportReadings(id=str(uuid4()), readings=(item,))

    perform(shop.store, shop.hand.painter, sent(0.2))
    perform(shop.store, shop.hand.painter, sent(0.3))
    assert len(shop.read()) == 2
    with pytest.raises(AlreadyOnRecord):
        perform(shop.store, shop.hand.painter, sent(0.2))


def test_a_program_that_sends_the_spectra_alone_sends_the_reading_of_the_file(shop):
    slope = tuple(0.1 + 0.002 * n for n in range(len(WAVELENGTHS)))
    plan = shop.plan(spectra((shop.code(shop.first), slope)))
    shop.store_it(plan)
    item = plan.command.readings[0]
    alone = replace(item, reading=replace(item.reading, angles=(), source=""))
    with pytest.raises(AlreadyOnRecord):
        perform(shop.store, shop.hand.painter, ImportReadings(id=str(uuid4()), readings=(alone,)))


def test_a_sign_in_the_last_bits_makes_no_other_reading(shop):
    code = shop.code(shop.first)
    (one,) = shop.plan(rows((code, 50.0, 1e-15, -0.0))).readings
    (other,) = shop.plan(rows((code, 50.0, -1e-15, 0.0))).readings
    assert import_id(one.reading.reading) == import_id(other.reading.reading)


def test_an_import_of_nothing_is_refused(shop):
    with pytest.raises(Invalid, match="There is no reading to store"):
        perform(shop.store, shop.hand.painter, ImportReadings(id=str(uuid4()), readings=()))


def test_more_readings_than_one_transaction_may_hold_are_refused(shop, monkeypatch):
    monkeypatch.setattr("service.use_cases.import_plan.MOST_READINGS", 1)
    plan = shop.plan(
        rows((shop.code(shop.first), 25, -12, 6), (shop.code(shop.second), 25, -12, 6))
    )
    assert kinds(plan) == ["too_many"]
    assert "holds 2 readings that are new; at most 1" in plan.problems[0].sentence


def test_a_file_of_more_samples_than_are_looked_up_is_refused(shop, monkeypatch):
    monkeypatch.setattr("service.use_cases.import_plan.MOST_SAMPLES", 2)
    plan = shop.plan(rows(*((f"tile {n}", 95.0, n, 0.0) for n in range(3))))
    assert kinds(plan) == ["too_many"]
    assert "holds 3 samples; at most 2" in plan.problems[0].sentence


def test_of_very_many_problems_the_rest_is_counted(shop):
    plan = shop.plan(rows(*((f"tile {n}", 95.0, n / 10, 0.0) for n in range(250))))
    told = as_json(plan)
    assert (len(told["problems"]), told["more_problems"]) == (200, 50)
    assert str(ImportRefused(plan.problems)).endswith("And 50 more like these.")
