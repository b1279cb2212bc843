"""Check tiles over the API: registered by a manager, read by a program, and shown again."""

from __future__ import annotations

from service.domain.terms import Role
from tests.web_shop import WebShop, new_id


def sent(client, verb, status=201, **body):
    answer = client.post(f"/api/{verb}", json={"id": new_id(), **body})
    assert answer.status_code == status, answer.text
    return answer.json()


def test_a_program_logs_what_its_instrument_reads_of_a_tile():
    shop = WebShop()
    manager, painter = shop.program(Role.MANAGER), shop.program(Role.PAINTER)
    instrument, tile = new_id(), new_id()
    sent(manager, "register-instrument", id=instrument, name="Bench sphere", geometry="d:8")
    sent(painter, "register-check-tile", 403, name="Grey tile")
    sent(manager, "register-check-tile", id=tile, name="Grey tile")
    reading = {
        "tile_id": tile,
        "instrument_id": instrument,
        "illuminant": "D65",
        "observer": 10,
        "angles": [{"repeats": [[56.0, -0.2, 0.4], [56.02, -0.19, 0.41]]}],
    }
    sent(painter, "log-tile-reading", **reading)
    refused = sent(painter, "log-tile-reading", 422, **{**reading, "angles": []})
    assert "no colour" in refused["detail"]
    found = painter.get("/api/check-tiles").json()
    assert [one["name"] for one in found["check_tiles"]] == ["Grey tile"]
    (read,) = found["tile_readings"]
    assert (read["geometry"], read["angles"][0]["repeats"][1]) == ("d:8", [56.02, -0.19, 0.41])
