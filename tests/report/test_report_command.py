import webbrowser

import pytest
from astropy.table import Table

from skyglint.cli import main


def run(*arguments):
    return main(["report", *map(str, arguments)])


def test_the_latest_night_is_written_and_named(outage_store, tmp_path, capsys):
    assert run(outage_store, "--to", tmp_path / "pages") == 0
    told = capsys.readouterr().out
    assert "that of 2026-08-12" in told
    html = (tmp_path / "pages" / "night-2026-08-12.html").read_text(encoding="utf-8")
    assert html.startswith("<!doctype html>")
    assert "Harrow Fell" in html


def test_figures_and_numbers_stand_in_a_folder_beside_the_page(outage_store, tmp_path, capsys):
    assert run(outage_store, "--to", tmp_path, "--figures") == 0
    folder = tmp_path / "night-2026-08-12"
    files = {file.name for file in folder.iterdir()}
    assert f"{len(files)} files of figures and numbers" in capsys.readouterr().out
    assert {"solar-clock.svg", "solar-clock.png", "echoes.csv", "coverage.ecsv", "rates.csv"} <= files
    assert (folder / "solar-clock.png").read_bytes().startswith(b"\x89PNG")
    rates = Table.read(folder / "rates.ecsv", format="ascii.ecsv")
    assert str(rates["rate_per_h"].unit) == "1 / h"
    assert rates.meta["table"] == "rates"


def test_a_page_is_not_overwritten_unless_told_to(outage_store, tmp_path, capsys):
    page = tmp_path / "night-2026-08-12.html"
    page.write_text("mine")
    assert run(outage_store, "--date", "2026-08-12", "--to", tmp_path) == 2
    assert "--force" in capsys.readouterr().err
    assert page.read_text() == "mine"
    assert run(outage_store, "--date", "2026-08-12", "--to", tmp_path, "--force") == 0
    assert page.read_text(encoding="utf-8") != "mine"


@pytest.mark.parametrize(
    ("date", "message"),
    [
        ("2026-08-11", "no night of 2026-08-11: the database holds only that of 2026-08-12"),
        ("yesterday", "--date yesterday: expected a date like 2026-08-12"),
        ("2026-02-30", "--date 2026-02-30: expected a date like 2026-08-12"),
    ],
)
def test_a_night_that_is_not_there_gets_one_line(outage_store, tmp_path, capsys, date, message):
    assert run(outage_store, "--date", date, "--to", tmp_path) == 2
    assert capsys.readouterr().err.strip() == message
    assert not list(tmp_path.iterdir())


def test_a_site_is_chosen_where_there_are_several(two_sites_store, tmp_path, capsys):
    assert run(two_sites_store, "--to", tmp_path) == 2
    assert "several sites (Harrow Fell, Low Moor)" in capsys.readouterr().err
    assert run(two_sites_store, "--to", tmp_path, "--site", "Low Moor") == 0


def test_a_folder_that_cannot_be_made_is_one_line(outage_store, tmp_path, capsys):
    in_the_way = tmp_path / "pages"
    in_the_way.write_text("a file")
    assert run(outage_store, "--to", in_the_way) == 1
    assert "cannot be written" in capsys.readouterr().err


def test_the_page_is_opened_where_that_is_wanted(outage_store, tmp_path, monkeypatch):
    opened = []
    monkeypatch.setattr(webbrowser, "open", lambda address: opened.append(address) or True)
    assert run(outage_store, "--to", tmp_path, "--open") == 0
    assert opened == [(tmp_path / "night-2026-08-12.html").as_uri()]


def test_a_missing_database_is_one_line(tmp_path, capsys):
    assert run(tmp_path / "none.db", "--to", tmp_path) == 2
    assert "none.db" in capsys.readouterr().err
