"""``skyglint plan`` and ``skyglint aim`` from the outside."""

import json

import pytest

from skyglint.cli import app
from skyglint.site import load_site

SITE = """# kept
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
"""
LIST = (
    "name,frequency_hz,kind,latitude_deg,longitude_deg,power_w,height_m,polarization\n"
    "Mossgate,98300000,fm,58.72,6.05,60000,720,horizontal\n"
    "Broken,98300000,fm,95,6.05,1000,,\n"
    "Vikholm,98900000,fm,59.782,6.573,70000,1050,horizontal\n"
)


@pytest.fixture
def folder(tmp_path, monkeypatch):
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    (tmp_path / "list.csv").write_text(LIST, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setitem(app.COMMANDS, "plan", "plan")
    monkeypatch.setitem(app.COMMANDS, "aim", "aim")
    return tmp_path


def test_table_fits_80_columns_and_bad_rows_are_named(folder, capsys):
    assert app.main(["plan", "site.toml", "--transmitters", "list.csv"]) == 0
    shown = capsys.readouterr()
    assert max(map(len, shown.out.splitlines())) <= 80
    assert "Mossgate" in shown.out
    assert "hidden by" in shown.out
    assert "factor of about three" in " ".join(shown.out.split())
    assert "list.csv: line 3: latitude is 95" in shown.err


def test_json_is_one_document(folder, capsys):
    assert app.main(["plan", "site.toml", "--transmitters", "list.csv", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert {one["name"] for one in document["candidates"]} == {"Mossgate", "Vikholm"}


def test_files_are_written_once_and_lead_to_an_aim(folder, capsys):
    command = ["plan", "site.toml", "--transmitters", "list.csv", "--to", "plan.html", "--csv", "plan.csv"]
    command += ["--write", "planned.toml"]
    assert app.main(command) == 0
    assert (folder / "plan.html").read_text(encoding="utf-8").startswith("<!doctype html>")
    assert (folder / "plan.csv").read_text(encoding="utf-8").count("\n") == 3
    planned = load_site(folder / "planned.toml")
    assert [channel.role for channel in planned.channel] == ["target", "target", "guard"]
    assert app.main(command) == 2
    assert "is there already: give --force" in capsys.readouterr().err
    assert app.main([*command, "--force"]) == 0
    capsys.readouterr()
    assert app.main(["aim", "planned.toml", "--declination", "-0.7", "--to", "aim.html"]) == 0
    shown = capsys.readouterr().out
    assert "from true north" in shown
    assert "By the compass" in shown
    assert "Lightning" in shown
    assert "<svg" in (folder / "aim.html").read_text(encoding="utf-8")
    assert app.main(["aim", "planned.toml", "--channel", "mossgate", "--json"]) == 0
    aim = json.loads(capsys.readouterr().out)
    assert aim["channels"] == ["mossgate"]
    assert aim["magnetic_azimuth_deg"] is None


def test_without_a_declination_it_says_how_to_get_one(folder, capsys):
    app.main(["plan", "site.toml", "--demo", "--best", "8", "--write", "planned.toml"])
    capsys.readouterr()
    assert app.main(["aim", "planned.toml"]) == 0
    assert "World Magnetic Model" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "status", "message"),
    [
        (["plan", "site.toml"], 2, "--transmitters"),
        (["plan", "none.toml", "--demo"], 2, "no such site file"),
        (["plan", "site.toml", "--transmitters", "none.csv"], 2, "no such transmitter list"),
        (["plan", "site.toml", "--transmitters", "site.toml"], 2, "known layout"),
        (["plan", "site.toml", "--demo", "--environment", "moon"], 2, "residential"),
        (["plan", "site.toml", "--demo", "--terrain", "none.csv"], 2, "cannot be read"),
        (["aim", "site.toml"], 2, "at least one"),
    ],
)
def test_wrong_requests(folder, capsys, arguments, status, message):
    assert app.main(arguments) == status
    assert message in capsys.readouterr().err


def test_nothing_in_reach_is_a_failure_that_explains_itself(folder, capsys):
    (folder / "far.csv").write_text(LIST.replace("58.72", "-58.72").replace("59.782", "-59.782"), encoding="utf-8")
    assert app.main(["plan", "site.toml", "--transmitters", "far.csv"]) == 1
    assert "No transmitter on the air lies within" in capsys.readouterr().out
