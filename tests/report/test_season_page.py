"""The month and year pages, their figures and numbers as files, and the command that writes them."""

import csv
import dataclasses
import re
from xml.etree import ElementTree

import numpy as np
import pytest
from astropy.table import Table

from skyglint.cli import main
from skyglint.report.page_files import write_season_files
from skyglint.report.season_page import render_season
from skyglint.report.season_views import figures
from skyglint.report.season_words import zhr_words


@pytest.fixture(scope="module")
def html(month_page):
    return render_season(month_page)


@pytest.fixture(scope="module")
def folder(month_page, tmp_path_factory):
    path = tmp_path_factory.mktemp("files")
    write_season_files(month_page, path)
    return path


def text_of(html):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html)).replace("\u202f", " ")


def test_the_page_needs_nothing_else(html):
    assert "<script" not in html
    assert not re.search(r'(src|href)="(?!#)', html)
    assert "http" not in html.replace("http://www.w3.org", "")


def test_the_page_says_what_was_found_and_what_was_assumed(html, month_page):
    text = text_of(html)
    assert "Harrow Fell August 2026" in text
    assert "Watched in 15 of 31 nights" in text
    assert "Perseids (PER)" in text
    assert "detected" in text
    assert "good to a factor of about three" in text
    assert "More before noon than after" in text
    assert "p < 0.000001" in text.replace("&lt;", "<")
    assert "maximum at" in text
    assert "The operator judged" in text
    total = sum(entry.echoes for entry in month_page.channels if entry.channel.role == "target")
    assert f"{total:,} echoes in 3 target channels".replace(",", " ") in text


def test_the_exact_place_is_nowhere(html, folder):
    # The noon at which a night begins would tell the longitude to a kilometre.
    for text in (html, *(file.read_text() for file in folder.iterdir() if file.suffix in (".csv", ".ecsv", ".svg"))):
        assert "54.61" not in text
        assert "2.93" not in re.findall(r"-?\b2\.93\d*", text)
        assert "12:11:4" not in text


def test_names_from_outside_are_escaped(month_page):
    spoilt = dataclasses.replace(month_page, site_name="<b>Fell & Co</b>")
    assert "&lt;b&gt;Fell &amp; Co" in render_season(spoilt)


def test_every_figure_has_words_and_stands_alone(folder, month_page):
    drawn = dict(figures(month_page))
    assert {"hours", "nights", "solar-clock", "course", "heights-2026-08", "shower-PER-2026-08"} <= set(drawn)
    for name, drawing in drawn.items():
        root = ElementTree.fromstring(str(drawing))
        assert len(root.attrib["aria-label"]) > 15, name
        assert ElementTree.parse(folder / f"{name}.svg").getroot().tag.endswith("svg")
        assert (folder / f"{name}.png").read_bytes().startswith(b"\x89PNG")


def rows(folder, name):
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def test_tables_hold_the_numbers_of_the_page(folder, month_page):
    nights = rows(folder, "nights")
    assert [row["night"] for row in nights] == [f"2026-08-{day:02}" for day in range(3, 18)]
    assert sum(int(row["echoes"]) for row in nights) == int(month_page.nights.echoes.sum())
    hours = rows(folder, "hours")
    assert len(hours) == 31 * 24
    assert hours[0] == {"night": "2026-08-01", "local_solar_hour": "12", "rate_per_h": ""}
    perseids = next(row for row in rows(folder, "showers") if row["shower"] == "PER")
    assert float(perseids["zhr"]) == pytest.approx(month_page.months[0].showers[0].flux.zhr, rel=1e-6)
    assert {row["source"] for row in rows(folder, "mass-index")} == {"all", "sporadic", "PER"}
    assert len(rows(folder, "shower-curves")) == sum(len(entry.curve) for entry in month_page.showers)


def test_ecsv_says_units_and_where_it_comes_from(folder):
    table = Table.read(folder / "shower-curves.ecsv", format="ascii.ecsv")
    assert str(table["flux_per_km2_h"].unit) == "1 / (h km2)"
    assert str(table["solar_longitude_deg"].unit) == "deg"
    assert table.meta["season"] == "2026-08"
    assert any("McKinley" in sentence for sentence in table.meta["assumptions"])
    with (folder / "shower-curves.csv").open() as lines:
        assert np.allclose(np.asarray(table["zhr"]), [float(row["zhr"]) for row in csv.DictReader(lines)])


def test_a_shower_that_does_not_stand_out_gets_an_upper_limit(month_page):
    weak = [shower for shower in month_page.months[0].showers if shower.significance < 3.0]
    assert weak
    assert all(zhr_words(shower).startswith("under ") for shower in weak)


def run(*arguments):
    return main(["report", *map(str, arguments)])


def test_the_command_writes_page_and_folder(month_store, tmp_path, capsys):
    assert run(month_store, "--month", "2026-08", "--to", tmp_path, "--figures") == 0
    page = tmp_path / "month-2026-08.html"
    assert str(page) in capsys.readouterr().out
    assert "are in the folder month-2026-08" in text_of(page.read_text(encoding="utf-8"))
    assert (tmp_path / "month-2026-08" / "nights.ecsv").exists()
    assert run(month_store, "--month", "2026-08", "--to", tmp_path) == 2
    assert "--force" in capsys.readouterr().err


def test_a_year(month_store, tmp_path):
    assert run(month_store, "--year", "2026", "--to", tmp_path) == 0
    text = text_of((tmp_path / "year-2026.html").read_text(encoding="utf-8"))
    assert "Watched in 15 of 365 nights" in text
    assert "Each month has its own background" in text
    assert "Perseids (PER)" in text


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--month", "2026-13"), "--month 2026-13: expected a month like 2026-08"),
        (("--month", "2026"), "--month 2026: expected a month like 2026-08"),
        (("--year", "2026-08"), "--year 2026-08: expected a year like 2026"),
        (("--month", "2026-08", "--date", "2026-08-12"), "--date, --month and --year: give one of them"),
        (("--calibration", "2"), "--calibration goes with --month or --year"),
        (("--month", "2026-08", "--calibration", "0"), "--calibration 0: expected a factor above 0"),
        (("--month", "2025-08"), "no night in 2025-08: the database holds nights from 2026-08-03 to 2026-08-17"),
    ],
)
def test_a_wrong_request_is_one_line(month_store, tmp_path, capsys, options, message):
    assert run(month_store, "--to", tmp_path, *options) == 2
    assert capsys.readouterr().err.strip() == message
    assert not list(tmp_path.iterdir())
