"""Target files: the contract's form in and out, and what is wrong with others in words."""

import copy
import json

import pytest

from colour.photo.target import BadTarget, Target

PATCH = {"name": "P1", "x_mm": 10, "y_mm": 10, "width_mm": 10, "height_mm": 10, "lab": [50, 0, 0]}
WHOLE = {
    "name": "invented chart",
    "width_mm": 200,
    "height_mm": 100,
    "measurement": {"illuminant": "D50", "observer": "2"},
    "patches": [{**PATCH, "name": f"P{i}", "x_mm": 10 + 12 * i} for i in range(8)],
    "windows": [
        {"name": "master", "x_mm": 10, "y_mm": 40, "width_mm": 60, "height_mm": 50},
        {"name": "card", "x_mm": 80, "y_mm": 40, "width_mm": 60, "height_mm": 50},
    ],
}


def changed(**changes):
    whole = copy.deepcopy(WHOLE)
    for path, value in changes.items():
        at, *rest = path.split("__")
        if rest:
            whole[at][0][rest[0]] = value
        else:
            whole[at] = value
    return whole


def test_the_contracts_form_goes_in_and_comes_out():
    target = Target.from_json(json.loads(json.dumps(WHOLE)))
    assert target.window("master").centre == (40, 65)
    again = json.loads(json.dumps(target.as_json()))
    assert Target.from_json(again) == target
    for key in ("name", "width_mm", "height_mm", "measurement", "windows"):
        assert again[key] == WHOLE[key]


def test_what_others_add_to_a_target_file_is_kept():
    target = Target.from_json(changed(note="printed in spring"))
    assert target.as_json()["note"] == "printed in spring"


@pytest.mark.parametrize(
    ("whole", "message"),
    [
        ([], "not a JSON object"),
        (changed(name=""), '"name"'),
        (changed(width_mm="wide"), '"width_mm".*millimetres'),
        (changed(height_mm=-3), "above 0"),
        (changed(measurement=None), "measurement"),
        (changed(patches=WHOLE["patches"][:3]), "At least 6"),
        (changed(patches__lab=[50, 0]), "three numbers"),
        (changed(patches__lab=[50, 0, 999]), "no colour of a surface"),
        (changed(patches__x_mm=195), "reaches outside"),
        (changed(patches__name="P3"), "named P3"),
        (changed(patches__standard_uncertainty=0), "above 0"),
        (changed(windows="all"), "not a list"),
        (changed(values="guessed"), "nominal"),
    ],
)
def test_a_bad_target_is_refused_with_the_place_and_the_remedy(whole, message):
    with pytest.raises(BadTarget, match=message):
        Target.from_json(whole)
