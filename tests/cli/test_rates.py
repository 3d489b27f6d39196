"""``skyglint rates`` from the outside: a table of 80 columns for people, JSON for machines."""

import json

import pytest

from skyglint.cli import app
from skyglint.echoes.echo import Echo
from skyglint.signals.block import SourceInfo
from skyglint.site import Channel
from skyglint.store import CoverageSpan, Store
from skyglint.utc import parse_utc

START_UNIX = parse_utc("2026-08-12T22:00:00Z")
HOUR = 3600.0
CHANNELS = [
    Channel(name="north-sea", role="target", kind="fm", frequency_hz=98.3e6),
    Channel(name="a name [so] long that it does not fit into its column", role="guard", kind="fm", frequency_hz=98e6),
]
SITE_FILE = """
[site]
name = "Harrow Fell"
latitude_deg = 54.61
longitude_deg = -2.93
height_m = 210
timezone = "Europe/London"
[antenna]
azimuth_deg = 46
elevation_deg = 35
gain_dbi = 6.0
beamwidth_deg = 65
height_above_ground_m = 2.5
polarization = "horizontal"
[receiver]
source = "rtltcp://127.0.0.1:1234"
center_frequency_hz = 98_000_000
sample_rate_hz = 2_400_000
gain_db = 30.0
correction_ppm = 0.0
[[channel]]
name = "north-sea"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
"""


@pytest.fixture
def night(tmp_path, monkeypatch):
    """Four hours: seven echoes, none, lost, and two across midnight."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setitem(app.COMMANDS, "rates", "rates")
    info = SourceInfo("n", "f", "cu8", 2.4e6, 98e6, START_UNIX, START_UNIX + 4 * HOUR, 97e6, 99e6)
    with Store.open(tmp_path / "night.db", "create") as store:
        run_id = store.begin_run("Harrow Fell", SITE_FILE, "scan", {}, START_UNIX)
        with store.recording(run_id, info, CHANNELS) as writer:
            for channel in CHANNELS:
                writer.add_coverage(
                    [
                        CoverageSpan(channel.name, START_UNIX, START_UNIX + 2 * HOUR, "watched"),
                        CoverageSpan(channel.name, START_UNIX + 2 * HOUR, START_UNIX + 3 * HOUR, "lost", "no receiver"),
                        CoverageSpan(channel.name, START_UNIX + 3 * HOUR, START_UNIX + 4 * HOUR, "watched"),
                    ]
                )
            starts = [START_UNIX + 60 * k for k in range(7)] + [START_UNIX + 3 * HOUR + k for k in range(2)]
            writer.add_echoes(Echo("north-sea", at, 0.2, at, 9.0, 1.0) for at in starts)
    return "night.db"


def test_a_table_by_hour_fits_into_eighty_columns(night, capsys):
    assert app.main(["rates", night]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert "…" not in "".join(lines)
    of_target = [[word for word in line.split(" ") if word] for line in lines if "north-sea" in line]
    # 7 counts in 3,600 s less 1.4 s: 4.4185 to 10.7703 (Gehrels 1986).
    assert of_target[0] == ["22:00", "north-sea", "7", "1:00:00", "0\u202f%", "7.0", "(4.4–10.8)", "22.2"]
    assert of_target[1][1:6] == ["north-sea", "0", "1:00:00", "0\u202f%", "0.0"]
    assert of_target[2] == ["00:00", "north-sea", "0:00:00", "0.2"]
    assert [line.strip() for line in lines if line.startswith("2026")] == ["2026-08-12", "2026-08-13"]
    assert any("(guard)" in line for line in lines)


def test_a_night_is_named_by_the_date_of_its_evening(night, capsys):
    assert app.main(["rates", night, "--by", "night", "--channel", "north-sea"]) == 0
    header, line, together = capsys.readouterr().out.splitlines()
    assert header.split()[:3] == ["Night", "of", "Channel"]
    assert line.split()[:4] == ["2026-08-12", "north-sea", "9", "3:00:00"]
    # 9 counts in three hours less 1.8 s: 6.06 and 13.1 counts (Gehrels 1986).
    assert together.replace("\u202f", " ") == (
        "north-sea: Mean over the nights 3.0 (2.0 to 4.4) / h (Poisson, exact limits)."
    )


def test_hours_of_the_solar_day_over_all_days(night, capsys):
    assert app.main(["rates", night, "--by", "solar-hour", "--channel", "north-sea"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split()[:2] == ["Solar", "h"]
    assert max(map(len, lines)) <= 80
    # 22:00 to 22:06 UTC at 2.93 degrees west, equation of time -5 min: 21.7 h; three hours later 0.7 h.
    hours = {line.split()[0]: line.split()[1:3] for line in lines[1:]}
    assert hours["21-22"] == ["north-sea", "7"]
    assert hours["0-1"] == ["north-sea", "2"]
    assert "Poisson" in lines[1]
    assert app.main(["rates", night, "--by", "solar-hour", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert sum(row["echoes"] for row in document["together"] if row["channel"] == "north-sea") == 9
    assert document["together"][0]["method"] == "Poisson, exact limits"


def test_degrees_of_solar_longitude(night, capsys):
    assert app.main(["rates", night, "--by", "solar-longitude", "--channel", "north-sea"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].split()[:3] == ["From,", "UTC", "Channel"]
    # 2026-08-13T02:00Z is solar longitude 140.0 (the Perseids' maximum): the night before it lies in 139.
    assert lines[1].split()[2] == "north-sea"
    assert "139.5" in lines[1]


def test_json_has_the_columns_of_the_exported_table_and_the_role(night, capsys):
    assert app.main(["rates", night, "--json", "--from", "2026-08-13T00:30:00Z"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["by"] == "hour"
    lost = document["rates"][0]
    assert (lost["start_utc"], lost["channel"], lost["role"]) == ("2026-08-13T00:00:00.000Z", "north-sea", "target")
    assert (lost["echoes"], lost["coverage_s"], lost["rate_per_h"]) == (0, 0.0, None)
    assert document["rates"][2]["rate_per_h"] == pytest.approx(2 * 3600 / 3599.6, rel=1e-6)


def test_a_span_without_coverage_says_so(night, capsys):
    assert app.main(["rates", night, "--from", "2027-01-01T00:00:00Z"]) == 0
    assert capsys.readouterr().out == "Nothing was watched in this span.\n"


def test_wrong_requests_are_refused(night, capsys):
    assert app.main(["rates", night, "--by", "week"]) == 2
    assert capsys.readouterr().err == "--by week: expected one of hour, night, solar-hour, solar-longitude\n"
    assert app.main(["rates", night, "--channel", "nowhere"]) == 2
    assert 'no channel "nowhere"' in capsys.readouterr().err
