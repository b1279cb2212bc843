"""What a finish is held to at each angle, and under which lights it is looked at."""

from __future__ import annotations

import pytest

from service.domain.records.job import DEFAULT_LIGHTS, Policy
from service.domain.terms import FinishKind
from tests.web.pages.bench_shop import BenchShop

SIX = (-15, 15, 25, 45, 75, 110)


@pytest.fixture
def shop(tmp_path):
    shop = BenchShop(tmp_path)
    yield shop
    shop.close()


def limits(shop, kind=FinishKind.PEARL):
    shop.job(kind=kind)
    return shop.browser(shop.manager).open(shop.at(f"/finishes/{shop.hand.finish}/limits"))


def newest(shop):
    return shop.file.all(Policy)[-1]


def test_what_is_in_force_stands_in_the_form_and_saving_it_changes_nothing(shop):
    page = limits(shop)
    assert page.fields()["angle_set"] == ["15 45 110"]
    assert set(page.fields()["lights"]) == set(DEFAULT_LIGHTS)
    before = newest(shop)
    page.send(why="Nothing new")
    after = newest(shop)
    assert after is not before
    assert (after.required_angles, after.lights) == ((15, 45, 110), DEFAULT_LIGHTS)
    assert after.angle_limits == {}


def test_a_ready_set_of_six_angles_and_a_limit_at_some(shop):
    page = limits(shop).send(
        angle_set="-15 15 25 45 75 110",
        angle_limit__110="1,2",
        **{"angle_limit.-15": "1.6"},
        why="The flop forgives more",
    )
    policy = newest(shop)
    assert policy.required_angles == SIX
    assert policy.angle_limits == {"-15": 1.6, "110": 1.2}
    assert "1.60 at \N{MINUS SIGN}15°, 1.20 at 110°" in page.main.text
    page = shop.browser(shop.manager).open(shop.at(f"/finishes/{shop.hand.finish}/limits"))
    assert page.fields()["angle_limit.110"] == ["1.2"]
    assert page.fields()["angle_limit.-15"] == ["1.6"]
    page.send(angle_limit__110="", why="As the others after all")
    assert newest(shop).angle_limits == {"-15": 1.6}


def test_other_angles_are_typed_and_get_a_field_for_their_limit(shop):
    limits(shop).send(angle_set="others", angles_typed="−15° 20, 45 and 110", why="Our own")
    assert newest(shop).required_angles == (-15, 20, 45, 110)
    page = shop.browser(shop.manager).open(shop.at(f"/finishes/{shop.hand.finish}/limits"))
    assert page.fields()["angle_set"] == ["others"]
    assert page.fields()["angles_typed"] == ["\N{MINUS SIGN}15, 20, 45, 110"]
    assert "angle_limit.20" in page.fields()
    page.send(angle_set="15 45 110", why="Back to three")
    assert newest(shop).required_angles == (15, 45, 110)


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"angle_set": "others"}, "No angle was typed. Type them, or pick a ready set."),
        (
            {"angle_set": "others", "angles_typed": "15, face"},
            "'face' is not an angle. Write whole aspecular degrees, as 15 or -15.",
        ),
        (
            {"angles_typed": "15 30"},
            "15, 30 was typed and 15, 45, 110 picked. Pick Others, or empty this field.",
        ),
        ({"angle_set": "twelve"}, "The angles are missing. Pick a set, or type others."),
        ({"angle_limit.110": "9"}, "The limit at 110° cannot be 9. Enter 0.05 to 5."),
        ({"angle_limit.-15": "x"}, "'x' is no number. Enter one, like 12.5 or 12,5."),
        ({"lights": "F99"}, "illuminant 'F99' is not known."),
    ],
)
def test_what_cannot_be_is_refused_at_its_field_and_nothing_is_lost(shop, sent, said):
    page = limits(shop)
    before = newest(shop)
    kept = {"angle_limit.45": "0,7", "limit_origin": "Ours", **sent}
    page = page.send(**kept)
    assert page.status == 422
    assert any(error.startswith(said) for error in page.errors)
    fields = page.fields()
    for name, value in kept.items():
        if name not in ("lights", "angle_set"):
            assert fields[name] == [value]
    assert newest(shop) == before
    opened = {d.one("summary").text for d in page.main.all("details") if "open" in d.attributes}
    assert "Limits at single angles" in opened


def test_a_missing_angle_cannot_be_graded_down(shop):
    page = limits(shop)
    for code in ("angle_missing", "unlike_angle"):
        select = page.main.one("select", name=f"grade.{code}")
        assert [o.attributes["value"] for o in select.all("option")] == [
            "stops",
            "only_cannot_tell",
        ]
    assert len(page.main.one("select", name="grade.warm").all("option")) == 3


def test_a_batch_may_be_looked_at_under_other_lights_or_none(shop):
    page = limits(shop)
    page.send(lights=["D50", "LED-B3", "LED-V1"], why="The shop has new lamps")
    assert newest(shop).lights == ("D50", "LED-B3", "LED-V1")
    page = shop.browser(shop.manager).open(shop.at(f"/finishes/{shop.hand.finish}/limits"))
    page = page.send(lights=[], why="No other lights")
    assert newest(shop).lights == ()
    finish = shop.browser(shop.manager).open(shop.at(f"/finishes/{shop.hand.finish}"))
    assert "Other lights none" in finish.main.text


def test_a_solid_starts_with_one_geometry_and_may_be_judged_at_angles(shop):
    page = limits(shop, FinishKind.SOLID)
    assert page.fields()["angle_set"] == ["none"]
    page.send(angle_set="15 25 45 75 110", why="Orange peel")
    assert newest(shop).required_angles == (15, 25, 45, 75, 110)
