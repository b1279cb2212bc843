"""Spectra over the API: sent with a reading or alone, refused at their field, and given back."""

import numpy as np
import pytest

from colour.difference import delta_e_2000
from tests.chart import chart_every, computed, read_rows
from tests.spectral_readings import GREY, NM, metameric, repeats_of
from tests.web.api.shapes import Shapes


def spectrum(rows=None, angle=None, nm=NM):
    rows = repeats_of(GREY) if rows is None else rows
    return {
        "angle": angle,
        "wavelengths_nm": list(map(float, nm)),
        "reflectance": np.asarray(rows).tolist(),
    }


def body_of(hand, card, *spectra, angles=None, **fields):
    body = hand.reading_body(card, (81.0, 0.15, 0.15))
    reading = {**body["reading"], "spectra": list(spectra), **fields}
    if angles is None:
        del reading["angles"]
    else:
        reading["angles"] = angles
    return {**body, "reading": reading}


def new_card(hand):
    body = hand.card_body(hand.batch())
    hand.did("log-card", **body)
    return body


def two_batches(hand):
    """A master and a batch that is its match in daylight alone; both cards' bodies."""
    made = []
    for rows in (repeats_of(GREY), repeats_of(metameric(GREY), seed=2)):
        card = new_card(hand)
        body = body_of(hand, card["id"], spectrum(rows))
        hand.did("log-reading", **body)
        made.append((card, body["id"]))
    hand.did("approve-master", job_id=hand.job, card_id=made[0][0]["id"],
             reading_ids=[made[0][1]])  # fmt: skip
    return made


def test_spectra_that_are_sent_come_back_with_the_card_and_the_reading(manager, hand):
    card = new_card(hand)
    sent = spectrum()
    body = body_of(hand, card["id"], sent)
    hand.did("log-reading", **body)
    (reading,) = manager.get(f"/api/cards/{card['code']}").json()["readings"]
    assert reading["spectra"] == [sent]
    alone = manager.get(f"/api/jobs/{hand.job}/readings/{body['id']}").json()
    assert alone == reading


def test_a_whole_job_says_where_spectra_are_and_leaves_them_out(manager, hand):
    card = new_card(hand)
    hand.did("log-reading", **body_of(hand, card["id"], spectrum(angle=15), spectrum(angle=45),
                                      geometry="multi-angle", specular=None))  # fmt: skip
    plain = new_card(hand)
    hand.did("log-reading", **hand.reading_body(plain["id"], (50, 0, 0)))
    readings = manager.get(f"/api/jobs/{hand.job}").json()["records"]["readings"]
    assert [reading["spectra_at"] for reading in readings] == [[15, 45], []]
    assert not any("spectra" in reading for reading in readings)
    assert "reflectance" not in manager.get(f"/api/jobs/{hand.job}").text


@pytest.mark.parametrize(("light", "within"), [("D65", 2e-4), ("LED-B3", 2e-4)])
def test_a_client_may_send_spectra_and_no_colours(manager, hand, light, within):
    """Against what another library computes of the chart; chart_lab.txt says which."""
    nm, reflectance = chart_every(10)
    card = new_card(hand)
    sent = spectrum(reflectance, nm=nm)
    hand.did("log-reading", **body_of(hand, card["id"], sent, illuminant=light))
    (reading,) = manager.get(f"/api/cards/{card['code']}").json()["readings"]
    found = np.array(reading["angles"][0]["repeats"])
    assert delta_e_2000(computed()["e308_10", light, 10][1], found).max() < within
    assert "worked out from the spectra" in reading["source"]


REFUSED = {
    "a row too short": (spectrum([[0.1] * 42]), "spectra", "41 wavelengths and a row of 42"),
    "percent": (spectrum([[45.0] * 41]), "spectra", "share of 1"),
    "text": ({**spectrum(), "reflectance": [["a"] * 41]}, "reading.spectra[0].reflectance[0][0]",
             "a number"),
    "no rows": ({"wavelengths_nm": [400.0, 410.0, 420.0]}, "reading.spectra[0].reflectance",
                "missing"),
    "a misspelling": ({**spectrum(), "nm": []}, "reading.spectra[0].nm", "no field"),
    "too short a range": (spectrum([[0.5] * 20], nm=NM[:20]), "spectra", "misses"),
    "too wide a gap": (spectrum([[0.5] * 22], nm=NM[::2] * 2), "spectra", "20 nm at most"),
}  # fmt: skip


@pytest.mark.parametrize(("sent", "field", "said"), REFUSED.values(), ids=REFUSED)
def test_what_is_no_spectrum_is_refused_at_its_field(hand, manager, sent, field, said):
    card = new_card(hand)
    answer = hand.send("log-reading", **body_of(hand, card["id"], sent))
    assert answer.status_code == 422
    assert answer.json()["field"] == field
    assert said in answer.json()["detail"]
    assert manager.get(f"/api/cards/{card['code']}").json()["readings"] == []


def test_another_number_of_spectra_than_colours_is_refused(hand):
    card = new_card(hand)
    body = body_of(hand, card["id"], spectrum(), angles=[{"repeats": [[81.0, 0.0, 0.0]]}])
    answer = hand.send("log-reading", **body)
    assert answer.status_code == 422
    assert "spectra of 3 repeats and colours of 1" in answer.json()["detail"]


def test_neither_colours_nor_spectra_is_no_reading(hand):
    answer = hand.send("log-reading", **body_of(hand, new_card(hand)["id"]))
    assert (answer.status_code, answer.json()["field"]) == (422, "angles")


def test_an_unknown_light_is_refused_when_the_colours_come_from_spectra(hand):
    body = body_of(hand, new_card(hand)["id"], spectrum(), illuminant="B7")
    answer = hand.send("log-reading", **body)
    assert (answer.status_code, answer.json()["field"]) == (422, "illuminant")
    assert "'B7' is not known" in answer.json()["detail"]


def test_a_batch_says_how_it_looks_under_other_lights(manager, hand):
    two_batches(hand)
    job = manager.get(f"/api/jobs/{hand.job}").json()
    first, second = (batch["id"] for batch in job["records"]["batches"])
    told = manager.get(f"/api/jobs/{hand.job}/batches/{second}").json()
    lights = told["under_lights"]
    assert lights["answer"] == "matches in daylight and shows under a three-band tube"
    assert lights["words"].startswith("matches in daylight (D65, 0.0), matches under a filament")
    assert [light["illuminant"] for light in lights["tests"]] == ["A", "F11", "LED-B3"]
    assert [v["word"] for v in told["verdicts"]] == ["blends"]
    assert manager.get(f"/api/jobs/{hand.job}/batches/{first}").json()["under_lights"] is None
    shapes = Shapes(manager.get("/openapi.json").json())
    path = "/api/jobs/{job_id}/batches/{batch_id}"
    shapes.check(told, shapes.of_answer("get", path, 200), path)


def test_the_index_over_the_api_is_what_another_library_computes(manager, hand):
    """chart_metamerism.txt, patch 5: one reading each, without noise."""
    row = next(
        r for r in read_rows("chart_metamerism.txt") if (r["patch"], r["test"]) == ("5", "A")
    )
    nm, reflectance = chart_every(10)
    patch = reflectance[4]
    readings = []
    for rows in ([patch], [patch * (1.02 + 0.05 * np.cos(2 * np.pi * (nm - 380) / 80))]):
        card = new_card(hand)
        body = body_of(hand, card["id"], spectrum(rows, nm=nm))
        hand.did("log-reading", **body)
        readings.append((card, body["id"]))
    hand.did("approve-master", job_id=hand.job, card_id=readings[0][0]["id"],
             reading_ids=[readings[0][1]])  # fmt: skip
    batch = manager.get(f"/api/jobs/{hand.job}").json()["records"]["batches"][1]["id"]
    lights = manager.get(f"/api/jobs/{hand.job}/batches/{batch}").json()["under_lights"]
    found = next(light for light in lights["tests"] if light["illuminant"] == "A")
    assert found["index_2000"] == pytest.approx(float(row["index_2000"]), abs=2.1e-4)
    assert found["delta_e_2000"] == pytest.approx(float(row["seen"]), abs=2.1e-4)


def test_from_colours_alone_the_reason_is_given(manager, hand):
    batches = []
    for _ in range(2):
        card = new_card(hand)
        body = hand.reading_body(card["id"], (50.0, 1.0, 1.0))
        hand.did("log-reading", **body)
        batches.append((card, body["id"]))
        if len(batches) == 1:
            hand.did("approve-master", job_id=hand.job, card_id=card["id"],
                     reading_ids=[body["id"]])  # fmt: skip
    batch = manager.get(f"/api/jobs/{hand.job}").json()["records"]["batches"][1]["id"]
    lights = manager.get(f"/api/jobs/{hand.job}/batches/{batch}").json()["under_lights"]
    assert lights["reference"] is None and lights["tests"] == []
    assert "one light only" in lights["why_not"]
    assert lights["missing_spectrum"] == "both"
