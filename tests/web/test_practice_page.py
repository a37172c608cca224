"""The practice home by its page and its calls."""

from __future__ import annotations


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
