"""The command from the outside: its keys, its words, its refusals."""

import json

import numpy as np
import pytest
from simulated_surveys import write_case

from skyglint.cli.app import COMMANDS, main
from skyglint.station.accuracy.surveys import EARTH_KM

KEYS = {
    "verdict",
    "effective_radius_km",
    "low_68_km",
    "high_68_km",
    "low_95_km",
    "high_95_km",
    "log10_odds_round_to_plane",
    "levels_used",
}


@pytest.fixture(autouse=True)
def _registered(monkeypatch):
    monkeypatch.setitem(COMMANDS, "horizon", "horizon")


def ask(capsys, site, listed, levels, *more):
    status = main(["horizon", str(site), "--transmitters", str(listed), "--levels", str(levels), *map(str, more)])
    out, err = capsys.readouterr()
    return status, out, err


def test_round_from_files(tmp_path, capsys):
    files = write_case(tmp_path, np.random.default_rng(1), 1.33, floor_dbm=-105.0)
    status, out, _ = ask(capsys, *files, "--json")
    answer = json.loads(out)
    assert status == 0
    assert set(answer) >= KEYS
    assert answer["verdict"] == "round"
    assert answer["levels_used"] == 60
    assert answer["low_95_km"] < 1.33 * EARTH_KM < answer["high_95_km"]
    assert answer["low_95_km"] < answer["low_68_km"] < answer["effective_radius_km"] < answer["high_68_km"]
    assert answer["log10_odds_round_to_plane"] > 2
    assert answer["earth_radius_km"]["low_95_km"] < 6371 < answer["earth_radius_km"]["high_95_km"]


def test_several_surveys_make_a_transmitter_no_heavier(tmp_path, capsys):
    site, listed, noon = write_case(tmp_path, np.random.default_rng(1), 1.33, floor_dbm=-105.0)
    alone = json.loads(ask(capsys, site, listed, noon, "--json")[1])
    night = tmp_path / "night.csv"
    night.write_text(noon.read_text(encoding="utf-8").replace("T12:00", "T23:00"), encoding="utf-8")
    both = json.loads(ask(capsys, site, listed, noon, "--levels", night, "--json")[1])
    assert both["levels_used"] == 60
    assert both["log10_odds_round_to_plane"] == pytest.approx(alone["log10_odds_round_to_plane"])
    assert main(["horizon", str(site), "--survey", "--levels", str(noon), "--levels", str(night)]) == 2


def test_plane_from_files(tmp_path, capsys):
    files = write_case(tmp_path, np.random.default_rng(2), None)
    answer = json.loads(ask(capsys, *files, "--json")[1])
    assert answer["verdict"] == "plane"
    assert answer["effective_radius_km"] is None
    assert answer["log10_odds_round_to_plane"] < -1


def test_few_near_stations_in_words(tmp_path, capsys):
    files = write_case(tmp_path, np.random.default_rng(3), 1.33, stations=5, near_km=8, far_km=35)
    status, out, _ = ask(capsys, *files)
    assert status == 0
    assert out.startswith("The levels cannot tell. 5 usable levels are too few")
    assert "km (68" not in out


def test_bad_rows_are_told_and_left_out(tmp_path, capsys):
    site, listed, levels = write_case(tmp_path, np.random.default_rng(4), 1.33)
    levels.write_text(levels.read_text() + "2026-08-13T12:00:00Z,90000000,loud,6,,\n")
    status, out, err = ask(capsys, site, listed, levels)
    assert status == 0
    assert f"{levels}: line 62: level_dbm is 'loud'" in err
    assert "60 transmitters" in out


def test_the_page_is_written_once(tmp_path, capsys):
    files = write_case(tmp_path, np.random.default_rng(5), 1.33)
    assert ask(capsys, *files, "--to", tmp_path / "pages")[0] == 0
    page = tmp_path / "pages" / "horizon.html"
    assert "Harrow Fell" in page.read_text(encoding="utf-8")
    status, _, err = ask(capsys, *files, "--to", tmp_path / "pages")
    assert status == 2
    assert "--force" in err
    assert ask(capsys, *files, "--to", tmp_path / "pages", "--force")[0] == 0


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--levels", "levels.csv"], "--levels: needs --transmitters"),
        (["--survey"], "--survey: needs --levels"),
        (["--recording", "a.sigmf-meta"], "--recording: is for --survey"),
        (["--levels", "none.csv", "--transmitters", "list.csv"], "none.csv: no such file of levels"),
        (["--night", "none.db"], "none.db"),
    ],
)
def test_requests_that_are_wrong(tmp_path, capsys, monkeypatch, arguments, said):
    write_case(tmp_path, np.random.default_rng(6), 1.33, stations=3)
    monkeypatch.chdir(tmp_path)
    assert main(["horizon", "site.toml", *arguments]) == 2
    assert said in capsys.readouterr().err


def test_without_levels_it_still_tells_what_to_expect(tmp_path, capsys):
    site, _, _ = write_case(tmp_path, np.random.default_rng(7), 1.33, stations=3)
    assert main(["horizon", str(site)]) == 0
    out = capsys.readouterr().out
    assert "no measured level could be used" in out
    assert "north-sea, 715 km: Over a plane" in out
