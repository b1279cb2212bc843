"""Forms: what was typed, as a command, with what is wrong at its field and nothing lost."""

from dataclasses import dataclass
from datetime import UTC, datetime

import pytest

from service.domain.refused import Invalid, OutOfOrder
from service.domain.terms import BakeTemperatureOf, CardKind, CoatRole, Hung, JointKind, ZoneState
from service.use_cases.cards import CardCoats, CardZone, LogCard
from service.use_cases.closing import ApproveMaster
from service.use_cases.job import AddJoint, AddPanel
from service.use_cases.spraying import BakeThem, GunSetUp, MixBatch, Poured
from service.web.forms import Form, FormError, FormRefused
from tests.web_shop import new_id

ID = new_id()


def form(**typed):
    lists = {name: [v] if isinstance(v, str) else list(v) for name, v in typed.items()}
    return Form({"id": [ID], **lists}, zone="Europe/Lisbon")


def errors_of(call):
    with pytest.raises(FormRefused) as refused:
        call()
    return {error.field: error.message for error in refused.value.errors}


def test_fields_become_a_command_and_empty_ones_its_defaults():
    command = form(code="7K3Q", slot=" a-12 ", kind="trial", hung="", note="").command(
        LogCard, job_id="job", batch_id="batch"
    )
    assert command == LogCard(
        id=ID,
        job_id="job",
        batch_id="batch",
        code="7K3Q",
        slot="a-12",
        kind=CardKind.TRIAL,
        hung=Hung.UPRIGHT,
    )


def test_what_stands_inside_is_read_by_its_path():
    typed = {
        "code": "X",
        "coats.0.batch_id": "b",
        "coats.0.coats": "3",
        "coats.0.set_up.tip_mm": "1,3",
        "coats.0.set_up.booth": "North",
        "coats.1.batch_id": "",
        "coats.1.coats": "",
        "coats.2.batch_id": "g",
        "coats.2.coats": "1",
        "coats.2.role": "ground",
        "zones.0.name": "left",
        "zones.0.state": "cleared",
        "zones.0.cleared": "yes",
    }
    command = form(**typed).command(LogCard, job_id="j", batch_id="b")
    assert command.coats == (
        CardCoats(batch_id="b", coats=3, set_up=GunSetUp(tip_mm=1.3, booth="North")),
        CardCoats(batch_id="g", coats=1, role=CoatRole.GROUND),
    )
    assert command.zones == (CardZone(name="left", state=ZoneState.CLEARED, cleared=True),)


def test_several_of_one_name_become_a_tuple():
    command = form(
        minutes="40", temperature_c="60", temperature_of="metal", card_ids=["a", "", "b"]
    ).command(BakeThem, job_id="j")
    assert command.card_ids == ("a", "b")
    assert command.panel_ids == ()
    assert command.temperature_of is BakeTemperatureOf.METAL


@pytest.mark.parametrize(
    ("typed", "number"),
    [("1.5", 1.5), ("1,5", 1.5), (" 2 ", 2.0), ("\u22123,25", -3.25), ("1\u202f200", 1200.0)],
)
def test_numbers_are_read_as_people_write_them(typed, number):
    command = form(name="Door", x=typed).command(AddPanel, job_id="j", finish_id="f")
    assert command.x == number


@pytest.mark.parametrize("typed", ["a lot", "1.2.3", "nan", "inf", "1e999", "--1"])
def test_what_is_no_number_is_said_at_its_field(typed):
    sent = form(name="Door", x=typed)
    errors = errors_of(lambda: sent.command(AddPanel, job_id="j", finish_id="f"))
    assert list(errors) == ["f-x"]
    assert "is no number" in errors["f-x"]
    assert sent.value("x") == typed, "what was typed stays"
    assert sent.error("x") == errors["f-x"]


def test_half_a_coat_is_refused():
    sent = form(**{"code": "X", "coats.0.batch_id": "b", "coats.0.coats": "2.5"})
    errors = errors_of(lambda: sent.command(LogCard, job_id="j", batch_id="b"))
    assert errors == {"f-coats.0.coats": "'2.5' is no whole number. Enter one."}


def test_everything_wrong_is_said_at_once():
    sent = form(kind="bent", panel_a="", panel_b="")
    errors = errors_of(lambda: sent.command(AddJoint, job_id="j"))
    assert list(errors) == ["f-kind", "f-panel_a", "f-panel_b"]
    assert "Pick one of: butt, gap, fade, within." in errors["f-kind"]
    assert errors["f-panel_a"] == "The panel a is missing. Fill it in."


def test_a_choice_of_several_that_was_left_empty_is_said_at_its_field():
    sent = form(card_id="c", reading_ids=["", " "])
    errors = errors_of(lambda: sent.command(ApproveMaster, job_id="j"))
    assert errors == {"f-reading_ids": "The reading is missing. Fill it in."}


def test_an_unknown_field_of_the_form_does_no_harm():
    command = form(kind="gap", panel_a="p", panel_b="q", csrf="x").command(AddJoint, job_id="j")
    assert command.kind is JointKind.GAP


def test_a_local_time_is_taken_in_the_shops_zone():
    """Lisbon keeps UTC+1 in summer (IANA time zone database)."""
    command = form(role="base", observed_at="2026-07-01T09:30").command(
        MixBatch, job_id="j", finish_id="f"
    )
    assert command.observed_at == datetime(2026, 7, 1, 8, 30, tzinfo=UTC)


def test_what_is_no_time_is_refused():
    sent = form(role="base", observed_at="yesterday")
    errors = errors_of(lambda: sent.command(MixBatch, job_id="j", finish_id="f"))
    assert "is no time" in errors["f-observed_at"]


def test_rows_of_a_table_keep_their_order_beyond_nine():
    typed = {}
    for number in range(12):
        typed[f"components.{number}.product"] = f"tin {number}"
        typed[f"components.{number}.role"] = "base"
    command = form(**typed).command(MixBatch, job_id="j", finish_id="f")
    assert command.components[10] == Poured(product="tin 10", role=CoatRole.BASE)
    assert len(command.components) == 12


def test_a_refusal_stands_at_the_field_it_names_even_deep_inside():
    sent = form(**{"set_up.booth_humidity_percent": "400", "name": "x"})
    sent.refuse(Invalid("booth_humidity_percent", "The humidity cannot be 400 %."))
    assert sent.error("set_up.booth_humidity_percent") == "The humidity cannot be 400 %."


def test_a_refusal_that_names_no_field_stands_at_the_top():
    sent = form()
    sent.refuse(OutOfOrder("This job is released already."))
    assert sent.errors == (FormError("main", "This job is released already."),)


def test_a_form_not_sent_yet_shows_defaults_and_has_an_id():
    fresh = Form()
    assert fresh.value("slot", "A-1") == "A-1"
    assert fresh.ticked("cleared", True)
    assert fresh.id != Form().id


def test_a_sent_form_keeps_its_id_and_what_was_emptied():
    sent = form(slot="")
    assert sent.id == ID
    assert sent.value("slot", "A-1") == ""
    assert not sent.ticked("cleared", True)


def test_a_password_is_kept_to_the_last_space():
    assert form(password=" two  words ").exact("password") == " two  words "


@dataclass(frozen=True, kw_only=True)
class Strict:
    """Refuses some of its values itself."""

    parts: float

    def __post_init__(self):
        if self.parts > 5:
            raise Invalid("parts", "Five parts at most.")


def test_what_a_dataclass_refuses_itself_stands_at_its_field():
    sent = form(**{"mix.parts": "6"})
    assert errors_of(lambda: sent.read(Strict, "mix.")) == {"f-mix.parts": "Five parts at most."}
