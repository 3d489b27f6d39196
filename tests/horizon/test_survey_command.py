"""The survey from the outside: a simulated band in, a file of levels and an answer out."""

import csv

import pytest
from simulated_surveys import SITE

from skyglint.cli.app import COMMANDS, main
from skyglint.simulate import load_scenario, simulate

SCENARIO = """
[recording]
start_utc = "2026-08-13T12:00:00Z"
duration_s = 3
sample_rate_hz = 600_000
center_frequency_hz = 97_925_000
format = "ci16_le"
noise_dbfs = -40
seed = 3

[[transmitter]]
name = "town"
kind = "fm"
frequency_hz = 97_800_000
distance_km = 20
direct_snr_db = 30
rds_pi = "C8F4"

[[transmitter]]
name = "hill"
kind = "fm"
frequency_hz = 98_050_000
distance_km = 60
direct_snr_db = 20
rds_pi = "D111"
"""
LIST = """name,frequency_hz,kind,latitude_deg,longitude_deg,power_w,height_m,polarization,rds_pi
Town,97800000,fm,54.75,-2.80,500,300,horizontal,C8F4
Hill,98050000,fm,54.9,-2.2,5000,500,horizontal,D111
Twin,98050000,fm,54.3,-3.6,4000,450,horizontal,D222
"""


@pytest.fixture(autouse=True)
def _here(tmp_path, monkeypatch):
    monkeypatch.setitem(COMMANDS, "horizon", "horizon")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "site.toml").write_text(SITE, encoding="utf-8")
    (tmp_path / "list.csv").write_text(LIST, encoding="utf-8")


SURVEY = ["horizon", "site.toml", "--survey", "--transmitters", "list.csv", "--levels", "levels.csv"]


def test_a_band_is_measured_and_its_stations_are_named(tmp_path, capsys):
    (tmp_path / "scenario.toml").write_text(SCENARIO, encoding="utf-8")
    simulate(load_scenario(tmp_path / "scenario.toml"), tmp_path / "band.sigmf-meta")
    assert main([*SURVEY, "--recording", "band.sigmf-meta"]) == 0
    out, err = capsys.readouterr()
    assert "2 levels of 2 frequencies" in err
    assert "2 usable levels are too few" in out
    rows = {
        row["transmitter"]: row
        for row in csv.DictReader((tmp_path / "levels.csv").read_text(encoding="utf-8").splitlines())
    }
    # By its code the second is Hill, not its twin on the same frequency; it is 10 dB weaker than the first.
    assert set(rows) == {"Town", "Hill"}
    assert float(rows["Town"]["level_dbm"]) - float(rows["Hill"]["level_dbm"]) == pytest.approx(10.0, abs=0.4)
    assert rows["Town"]["start_utc"] == "2026-08-13T12:00:00Z"
    # What is there is not overwritten.
    assert main([*SURVEY, "--recording", "band.sigmf-meta"]) == 2
    assert "--force" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("gain_db = 30.0", 'gain_db = "auto"', "levels need a fixed gain"),
        ("rtltcp://127.0.0.1:1234", "night.sigmf-meta", "give recordings with --recording"),
        ("latitude_deg = 54.6137", "latitude_deg = -54.6137", "no transmitter near enough"),
    ],
)
def test_what_cannot_be_surveyed_is_refused(tmp_path, capsys, old, new, said):
    (tmp_path / "site.toml").write_text(SITE.replace(old, new), encoding="utf-8")
    assert main(SURVEY) == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "levels.csv").exists()


def test_a_receiver_that_is_not_there_is_told(capsys):
    assert main([*SURVEY, "--seconds", "1"]) == 1
    assert "127.0.0.1:1234" in capsys.readouterr().err
