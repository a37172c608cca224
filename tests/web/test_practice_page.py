"""The practice home by its page and its calls."""

from __future__ import annotations

import numpy as np


def test_a_scan_by_calls_ends_with_a_score(client):
    page = client.get("/practice/7")
    assert page.status_code == 200 and "Begin" in page.text and "mean_w_m2" not in page.text
    begun = client.post("/api/v1/practice/scans", json={"seed": 7, "place": "Bed", "off": []})
    assert begun.status_code == 201, begun.text
    address = f"/api/v1/practice/scans/{begun.json()['id']}"
    rows = [[0.2 * (k % 50 - 25) / 25, 0.0, 0.0, 0.0, k % 7 / 7, 1.0] for k in range(200)]
    shown = client.post(f"{address}/moves", json={"rows": rows}).json()
    assert shown["held"] >= shown["peak"] >= shown["average"] > 0
    assert "largest there is" in shown["said"]
    score = client.get(f"{address}/score").json()
    assert 0 <= score["points"] <= 100 and score["truth_w_m2"] * 1e6 >= shown["held"] * 0.98


def test_refusals_are_told(client):
    refused = client.post("/api/v1/practice/scans", json={"seed": 7, "place": "Attic", "off": []})
    assert refused.status_code in (404, 422) and "Attic" in refused.text
    assert client.get("/api/v1/practice/scans/nobody/score").status_code in (404, 422)
    assert client.get("/practice/-5").status_code in (404, 422)
    rows = [[0, 0, 0, 0, 0, 0]]
    begun = client.post("/api/v1/practice/scans", json={"seed": 7, "place": "Bed", "off": []}).json()["id"]
    assert client.post(f"/api/v1/practice/scans/{begun}/moves", json={"rows": rows}).status_code == 422


def way(seconds: float, seed: int) -> list[list[float]]:
    """Slowly through the cube, the antenna turning, as the page sends it."""
    rng, count = np.random.default_rng(seed), int(seconds * 50)
    knots = np.arange(0, count + 100, 100)
    place = [np.interp(np.arange(count), knots, rng.uniform(-0.25, 0.25, len(knots))) for _ in range(3)]
    turn = 1.6 * np.arange(count) / 50
    axis = [np.sin(turn) * np.cos(0.37 * turn), np.sin(turn) * np.sin(0.37 * turn), np.cos(turn)]
    return np.column_stack([*place, *axis]).tolist()


def test_marks_lead_on_to_the_second_sweep_and_the_next_spot(client):
    """A spot marked and searched for long enough: the whole once more; then, after that, the next loud spot."""
    start = {"seed": 7, "place": "Bed", "off": []}
    address = f"/api/v1/practice/scans/{client.post('/api/v1/practice/scans', json=start).json()['id']}/moves"
    spot = [[0.1, 0.1, 0.0, 1.0, 0.0, 0.0]] * 50
    again = [[x, y, z, 1.0, 0.0, 0.0] for x, y, z, *_ in way(20.0, 2)]

    def advice(rows, begins=None) -> str:
        for first in range(0, len(rows), 250):
            moves = {"rows": rows[first : first + 250]} | ({"begins": begins} if begins and not first else {})
            answer = client.post(address, json=moves)
            assert answer.status_code == 200, answer.text
        return answer.json()["scan"]["advice"]

    advice(way(20.0, 1))
    assert advice(spot, "spot") == "stay"
    assert advice(spot * 19) == "again"
    assert advice(again, "again") == "again"
    assert advice(again) == "back"
    assert client.post(address, json={"rows": spot, "begins": "nap"}).status_code == 422


def test_a_mark_with_the_first_move_is_taken(client):
    for part in ("spot", "again"):
        begun = client.post("/api/v1/practice/scans", json={"seed": 7, "place": "Bed", "off": []}).json()["id"]
        moves = {"rows": way(8.0, 1), "begins": part}
        answer = client.post(f"/api/v1/practice/scans/{begun}/moves", json=moves)
        assert answer.status_code == 200 and answer.json()["scan"]["advice"] != "listen"
