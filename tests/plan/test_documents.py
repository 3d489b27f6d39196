"""What machines read: the keys that other programs rely on, plain numbers, nothing that JSON has not."""

import csv
import io
import json

from skyglint.plan.documents import plan_csv, plan_document

KEYS = [
    "name", "frequency_hz", "kind", "distance_km", "bearing_deg", "hidden_m", "hidden_geometric_m",
    "free_space_loss_db", "diffraction_loss_db", "troposcatter_loss_db", "direct_snr_db", "verdict", "azimuth_deg",
    "elevation_deg", "share_of_echoes", "echoes_per_h", "score", "reasons",
]  # fmt: skip


def test_json_has_the_promised_keys(plan, proposal):
    document = json.loads(json.dumps(plan_document(plan, proposal), allow_nan=False))
    assert len(document["candidates"]) == 48
    for one in document["candidates"]:
        assert set(KEYS) <= set(one)
        assert len(one["echoes_per_h"]) == 24
        assert [len(month) for month in one["echoes_per_h_by_month"]] == [24] * 12
        assert one["verdict"] in {"silent", "rustles", "heard"}
        assert 0 <= one["share_of_echoes"] <= 1
        assert one["reasons"]
    scores = [one["score"] for one in document["candidates"]]
    assert scores == sorted(scores, reverse=True)
    assert {channel["part"] for channel in document["proposal"]["channels"]} >= {"target", "guard", "reference"}


def test_within_sight_troposcatter_is_unknown(plan, proposal):
    by_name = {one["name"]: one for one in plan_document(plan, proposal)["candidates"]}
    assert by_name["Harrow Town"]["troposcatter_loss_db"] is None
    assert by_name["Mossgate"]["troposcatter_loss_db"] > 150


def test_csv_says_the_same(plan, proposal):
    rows = list(csv.DictReader(io.StringIO(plan_csv(plan))))
    document = plan_document(plan, proposal)["candidates"]
    assert [row["name"] for row in rows] == [one["name"] for one in document]
    assert float(rows[0]["hidden_m"]) == document[0]["hidden_m"]
    assert next(row for row in rows if row["name"] == "Harrow Town")["troposcatter_loss_db"] == ""
