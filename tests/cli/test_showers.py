"""``skyglint showers`` from the outside: 80 columns for people, JSON for machines, iCalendar for calendars."""

import json
import re
from datetime import datetime

import icalendar
import pytest

from skyglint.cli import app

SITE_FILE = """
[site]
name = "Harrow [Fell]"
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
name = "a very long [name] of a channel far away"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
latitude_deg = 58.72
longitude_deg = 6.05
"""


@pytest.fixture
def site(tmp_path, monkeypatch):
    monkeypatch.setitem(app.COMMANDS, "showers", "showers")
    path = tmp_path / "site.toml"
    path.write_text(SITE_FILE, encoding="utf-8")
    return path


def test_table_fits_80_columns(site, capsys):
    assert app.main(["showers", str(site), "--date", "2026-08-13"]) == 0
    text = capsys.readouterr().out
    assert max(len(line) for line in text.splitlines()) <= 80
    assert "PER Perseids" in text
    assert "139.92°" in text
    assert "Harrow [Fell]" in text
    assert "GEM" not in text


def test_json_has_the_fixed_keys(site, capsys):
    assert app.main(["showers", str(site), "--date", "2026-08-13", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["date"] == "2026-08-13"
    # Computed with skyfield 1.55 and JPL DE421: 139.99964 at 2 h UTC, 0.9605 degrees a day.
    assert document["solar_longitude_deg"] == pytest.approx(139.99964 - 0.9605 / 12, abs=2e-4)
    assert len(document["showers"]) == 79
    for shower in document["showers"]:
        assert {"iau_code", "radiant_ra_deg", "radiant_dec_deg", "active"} <= shower.keys()
        lists = [shower["altitude_deg"], shower["azimuth_deg"], *shower["response"].values()]
        assert [len(values) for values in lists] == [24, 24, 24]
    perseids = next(shower for shower in document["showers"] if shower["iau_code"] == "PER")
    assert perseids["active"] is True
    assert perseids["zhr_max"] == 100
    assert next(s for s in document["showers"] if s["iau_code"] == "AMO")["zhr_max"] is None


def test_calendar(site, tmp_path, capsys):
    target = tmp_path / "showers.ics"
    command = ["showers", str(site), "--date", "2026-11-25", "--calendar", str(target)]
    assert app.main(command) == 0
    assert "75 maxima" in capsys.readouterr().out
    calendar = icalendar.Calendar.from_ical(target.read_bytes())
    events = {str(event["summary"]): event for event in calendar.walk("VEVENT")}
    assert len({str(event["uid"]) for event in events.values()}) == 75
    geminids = events["Geminids (GEM): maximum"]
    # Solar longitude 262.2, computed with skyfield 1.55 and JPL DE421.
    assert geminids["dtstart"].dt == datetime.fromisoformat("2026-12-14T13:41:00+00:00")
    assert "ZHR 150" in str(geminids["description"])
    text = target.read_text(encoding="utf-8")
    assert "54.6" not in text  # a calendar is shared: it does not tell where the site is
    assert app.main(command) == 2
    assert "--force" in capsys.readouterr().err
    assert app.main([*command, "--force", "--json"]) == 0
    captured = capsys.readouterr()
    assert json.loads(captured.out)["date"] == "2026-11-25"
    assert "75 maxima" in captured.err


@pytest.mark.parametrize("day", ["13.8.2026", "2026-02-30", "tonight", "2026-08-13T00:00Z"])
def test_a_wrong_date_is_one_line(site, capsys, day):
    assert app.main(["showers", str(site), "--date", day]) == 2
    assert capsys.readouterr().err.strip() == f"--date {day}: expected a date like 2026-08-13"


def test_a_folder_that_is_not_there(site, tmp_path, capsys):
    target = tmp_path / "missing" / "showers.ics"
    assert app.main(["showers", str(site), "--date", "2026-08-13", "--calendar", str(target)]) == 1
    assert "cannot be written" in capsys.readouterr().err


def test_without_positions_it_says_so(site, capsys):
    site.write_text(
        SITE_FILE.replace("latitude_deg = 58.72\n", "").replace("longitude_deg = 6.05\n", ""), encoding="utf-8"
    )
    assert app.main(["showers", str(site), "--date", "2026-08-13"]) == 0
    assert "no path's response can be told" in " ".join(capsys.readouterr().out.split())


def test_the_year_as_a_page(site, tmp_path, capsys):
    target = tmp_path / "showers.html"
    assert app.main(["showers", str(site), "--date", "2026-08-12", "--to", str(target)]) == 0
    assert "maxima from 2026-08-12 on" in capsys.readouterr().out
    html = target.read_text(encoding="utf-8")
    assert "<script" not in html
    assert "http" not in html.replace("http://www.w3.org", "")
    assert "Perseids (PER) <span>2026-08-13" in html
    assert "a very long [name] of a channel far away sees it best at" in html
    # At latitude 54.6 a radiant at declination 58 culminates at 90 - (58 - 54.6) = 86.6 degrees.
    assert "ZHR 100" in html
    assert re.search(r"Highest 8[67]\u202f?°", html)
    assert "54.61" not in html
    assert app.main(["showers", str(site), "--date", "2026-08-12", "--to", str(target)]) == 2
