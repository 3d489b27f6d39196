"""The open data against the tables that the command line exports from the same database."""

import csv

import numpy as np
import pytest

from skyglint.report.table_files import write_table
from skyglint.report.tables import make_table
from skyglint.sky.sun import local_apparent_solar_hour
from skyglint.store import Store

SPAN = {"start_utc": "2026-08-10T00:00:00Z", "end_utc": "2026-08-14T00:00:00Z"}


def _earlier(utc: str) -> str:
    """Return a time two milliseconds earlier: the rows are rounded to one."""
    return str(np.datetime64(utc.removesuffix("Z")) - np.timedelta64(2, "ms")) + "Z"


@pytest.mark.parametrize("name", ["echoes", "coverage", "rates"])
def test_rows_are_those_of_the_exported_table(client, station, tmp_path, name):
    with Store.open(station.parent / "station.db") as store:
        write_table(make_table(store, name), tmp_path / "out.csv", "csv")
    with (tmp_path / "out.csv").open(newline="") as file:
        expected = list(csv.DictReader(file))
    found, offset = [], 0
    while offset is not None:
        page = client.get(f"/api/v1/{name}", params={**SPAN, "limit": 37, "offset": offset}).json()
        found += page["rows"]
        offset = page["next_offset"]
    for row in [*found, *expected]:
        row.pop("local_solar_hour", None)  # differs by purpose, see below
    told = [{key: "" if value is None else str(value) for key, value in row.items()} for row in found]
    assert told == expected
    assert len(told) > 9


def test_a_span_is_half_open_and_channels_and_classes_choose(client):
    rows = client.get("/api/v1/echoes", params=SPAN).json()["rows"]
    third = rows[2]
    until = client.get("/api/v1/echoes", params={**SPAN, "end_utc": _earlier(third["start_utc"])}).json()["rows"]
    assert [row["id"] for row in until] == [row["id"] for row in rows[:2]]
    chosen = client.get("/api/v1/echoes", params={**SPAN, "channel": ["quiet", "lowland"], "class": "interference"})
    assert {row["channel"] for row in chosen.json()["rows"]} <= {"quiet"}
    one = client.get(f"/api/v1/echoes/{third['id']}").json()
    assert one == third


def test_without_a_span_it_is_the_last_day(client):
    rows = client.get("/api/v1/echoes").json()["rows"]
    assert rows
    assert rows[0]["start_utc"] > "2026-08-12T03:31:07"


@pytest.mark.parametrize(
    ("query", "where"),
    [
        ({"start_utc": "yesterday"}, "start_utc"),
        ({"start_utc": "2026-08-13T02:00:00"}, "start_utc"),
        ({"end_utc": "2026-08-13T02:00:00Z", "start_utc": "2026-08-13T02:00:00Z"}, "end_utc"),
        ({"start_utc": "2020-01-01T00:00:00Z"}, "start_utc"),
        ({"limit": 0}, "limit"),
        ({"limit": 5001}, "limit"),
        ({"offset": -1}, "offset"),
        ({"class": "firework"}, "class"),
    ],
)
def test_a_wrong_parameter_is_named(client, query, where):
    answer = client.get("/api/v1/echoes", params=query)
    assert answer.status_code == 422
    error = answer.json()["error"]
    assert set(error) == {"status", "message", "where"}
    assert where in error["where"]
    assert where in error["message"]


@pytest.mark.parametrize(
    ("method", "address", "status"),
    [
        ("GET", "/api/v1/nothing", 404),
        ("GET", "/api/v1/echoes/99999", 404),
        ("GET", "/api/v1/echoes?channel=nobody", 404),
        ("GET", "/api/v1/live?spectra=nobody", 404),
        ("GET", "/api/v1/live/spectrogram?channel=nobody", 404),
        ("POST", "/api/v1/echoes", 405),
        ("DELETE", "/api/v1/echoes/1", 405),
    ],
)
def test_every_error_has_one_shape(client, method, address, status):
    answer = client.request(method, address)
    assert answer.status_code == status
    assert answer.json()["error"]["status"] == status
    assert answer.json()["error"]["message"]


def test_the_station_says_who_and_how(client, context, message):
    context.hub.publish(message(context.clock(), ["north-sea"]))
    told = client.get("/api/v1/station").json()
    assert (told["name"], told["state"]) == ("Harrow Fell", "watching")
    assert [channel["role"] for channel in told["channels"]] == ["target"] * 3 + ["reference", "guard"]
    assert client.get("/api/v1/channels").json() == told["channels"]
    nights = client.get("/api/v1/nights").json()["nights"]
    assert nights[-1]["evening"] == "2026-08-12"
    # Mean solar noon at 2.9 degrees west is 11 min 36 s after 12 UTC; at the exact place it would be 11 min 44 s.
    assert nights[-1]["start_utc"] == "2026-08-12T12:11:36.000Z"


def test_no_time_tells_the_exact_longitude(client):
    # Equation of time of day 225 by Spencer's series (Search 2, 172, 1971): -5.23 min, good to about 0.6 min.
    row = client.get("/api/v1/rates", params={**SPAN, "start_utc": "2026-08-13T02:00:00Z"}).json()["rows"][0]
    spencer_min = -5.23
    assert row["local_solar_hour"] == pytest.approx(2.5 - 2.9 / 15 + spencer_min / 60, abs=0.01)
    # To four decimals it is that of 2.9 degrees, and not of the exact place.
    moments = 1786591800.0 - 1786591800.0 % 3600.0 - 3600.0 + 1800.0
    shown, exact = (float(local_apparent_solar_hour(moments, longitude)) for longitude in (-2.9, -2.9345))
    assert abs(shown - exact) > 0.002
    assert row["local_solar_hour"] == pytest.approx(shown, abs=2e-4)


def test_the_last_minutes_hold_what_the_feed_said(client, context, message):
    for index in range(30):
        context.hub.publish(message(context.clock() + index / 10, ["north-sea"], float(index)))
    told = client.get("/api/v1/live/recent").json()
    assert told["state"] == "watching"
    assert len(told["power_db"]["north-sea"]) == 1200
    assert told["power_db"]["north-sea"][-1] == 29.0
    assert told["power_db"]["quiet"][-1] is None
    assert {echo["channel"] for echo in told["echoes"]} <= {entry.name for entry in context.site.channel}
    assert told["echoes"]
    spectrogram = client.get("/api/v1/live/spectrogram", params={"channel": "north-sea"}).json()
    assert spectrogram["bins"] == 24
