"""``skyglint export`` from the outside: files, standard output, refusals and exit statuses."""

import json

import pytest

from skyglint.cli import app
from skyglint.echoes.echo import Echo
from skyglint.signals.block import SourceInfo
from skyglint.site import Channel
from skyglint.store import CoverageSpan, Store
from skyglint.utc import parse_utc

START_UNIX = parse_utc("2026-08-13T02:00:00Z")


@pytest.fixture
def night(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setitem(app.COMMANDS, "export", "export")
    info = SourceInfo("n", "f", "cu8", 2.4e6, 98e6, START_UNIX, START_UNIX + 3600, 97e6, 99e6)
    channels = [Channel(name=name, role="target", kind="fm", frequency_hz=98e6) for name in ("north-sea", "lowland")]
    with Store.open(tmp_path / "night.db", "create") as store:
        run_id = store.begin_run("Harrow Fell", "", "scan", {}, START_UNIX)
        with store.recording(run_id, info, channels) as writer:
            for channel in channels:
                writer.add_coverage([CoverageSpan(channel.name, START_UNIX, START_UNIX + 3600, "watched")])
                writer.add_echoes(
                    Echo(channel.name, START_UNIX + 600 * k, 0.2, START_UNIX + 600 * k, 9.0, 1.0) for k in range(3)
                )
    return "night.db"


def export(night, *arguments):
    return app.main(["export", night, *arguments])


def test_a_table_goes_to_a_file_once(night, tmp_path, capsys):
    assert export(night, "--table", "echoes", "--to", "echoes.csv") == 0
    assert capsys.readouterr().out == "echoes.csv: 6 rows of echoes\n"
    assert len((tmp_path / "echoes.csv").read_text().splitlines()) == 7
    assert export(night, "--table", "echoes", "--to", "echoes.csv") == 2
    assert capsys.readouterr().err == "echoes.csv: is there already: --force overwrites it\n"
    assert export(night, "--table", "coverage", "--to", "echoes.csv", "--force") == 0


def test_a_selection_goes_to_standard_output_and_nothing_else_does(night, capsys):
    status = export(
        night,
        *("--table", "echoes", "--format", "jsonl", "--to", "-", "--channel", "lowland"),
        *("--from", "2026-08-13T02:10:00Z", "--until", "2026-08-13T03:15:00+01:00"),
    )
    assert status == 0
    (line,) = capsys.readouterr().out.splitlines()
    assert json.loads(line)["start_utc"] == "2026-08-13T02:10:00.000Z"
    assert json.loads(line)["height_km"] is None


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--table", "birds", "--to", "-"], "--table birds: expected echoes, coverage, rates"),
        (["--table", "echoes", "--to", "-", "--format", "xls"], "--format xls: expected csv, ecsv, parquet, jsonl"),
        (["--table", "echoes", "--to", "-", "--format", "parquet"], "a Parquet file cannot go to standard output"),
        (["--table", "echoes", "--to", "-", "--channel", "x"], 'night.db: no channel "x": it has north-sea, lowland'),
        (["--table", "echoes", "--to", "-", "--site", "x"], 'night.db: no site "x": it has Harrow Fell'),
        (["--table", "echoes", "--to", "-", "--from", "yesterday"], "--from: 'yesterday' is not a UTC time"),
        (["--table", "echoes", "--to", "-", "--from", "2026-08-13T02:00:00"], "states no offset from UTC"),
        (
            ["--table", "echoes", "--to", "-", "--from", "2026-08-13T02:00:00Z", "--until", "2026-08-13T02:00:00Z"],
            "expected a time after --from",
        ),
        (["--table", "echoes", "--to", "nowhere/x.csv"], "there is no folder nowhere"),
    ],
)
def test_a_wrong_request_is_refused_in_one_line(night, capsys, arguments, message):
    assert export(night, *arguments) == 2
    printed = capsys.readouterr()
    assert message in printed.err
    assert printed.err.count("\n") == 1
    assert printed.out == ""


def test_a_file_that_is_no_database_fails(night, tmp_path, capsys):
    (tmp_path / "notes.txt").write_text("nothing fell" * 500)
    assert export("notes.txt", "--table", "echoes", "--to", "-") == 1
    assert "notes.txt: is not a database" in capsys.readouterr().err
    assert export("missing.db", "--table", "echoes", "--to", "-") == 2
    assert capsys.readouterr().err == "missing.db: no such database\n"
