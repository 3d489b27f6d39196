"""The tables that other programs read: pinned columns, one table in four formats, refusals."""

import csv
import io
import json
import math

import numpy as np
import pyarrow.parquet as pq
import pytest
from astropy import units
from astropy.table import Table as AstropyTable
from hypothesis import given, settings
from hypothesis import strategies as st

from skyglint.echoes.echo import Echo
from skyglint.errors import RequestError, SkyglintError
from skyglint.report.table_files import FORMATS, write_table
from skyglint.report.tables import COVERAGE_COLUMNS, ECHO_COLUMNS, RATE_COLUMNS, TABLE_NAMES, Table, make_table
from skyglint.signals.block import SourceInfo
from skyglint.site import Channel
from skyglint.store import CoverageSpan, Store, Verdict
from skyglint.utc import format_utc, parse_utc

START_UNIX = parse_utc("2026-08-13T02:00:00Z")
HOUR = 3600.0
DAY = 86_400.0
CHANNELS = [
    Channel(name="north-sea", role="target", kind="fm", frequency_hz=98.3e6),
    Channel(name='odd, "name"; é', role="guard", kind="fm", frequency_hz=98.7e6),
]
SITE_FILE = """
site = {name = "Harrow Fell", latitude_deg = 54.61, longitude_deg = -2.93, height_m = 210, timezone = "UTC"}
antenna = {azimuth_deg = 46, elevation_deg = 35, gain_dbi = 6.0, beamwidth_deg = 65, height_above_ground_m = 2.5,
           polarization = "horizontal"}
receiver = {source = "rtltcp://127.0.0.1:1234", center_frequency_hz = 98e6, sample_rate_hz = 2.4e6, gain_db = 30.0,
            correction_ppm = 0.0}
channel = [{name = "north-sea", role = "target", kind = "fm", frequency_hz = 98.3e6}]
""".replace(",\n          ", ",").replace(",\n            ", ",")
ECHOES = [
    Echo(
        "north-sea",
        START_UNIX + 10.0004,
        0.31,
        START_UNIX + 10.05,
        17.25,
        4.5,
        echo_class="underdense",
        class_probability=0.93,
        decay_time_s=1 / 3,
        doppler_hz=-31.5,
        rds_pi="F3A7",
        flags=("clipped", "merged"),
    ),
    Echo('odd, "name"; é', START_UNIX + 3 * HOUR, 40.0, START_UNIX + 3 * HOUR + 1, 3.0, 80.0, echo_class="aircraft"),
    Echo("north-sea", START_UNIX + 20 * DAY, 0.1, START_UNIX + 20 * DAY, 9.0, 0.5),
]


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    path = tmp_path_factory.mktemp("tables") / "night.db"
    with Store.open(path, "create") as opened:
        run_id = opened.begin_run("Harrow Fell", SITE_FILE, "scan", {"false_alarms_per_h": 1.0}, START_UNIX + 30 * DAY)
        for day in (0, 20):
            at = START_UNIX + day * DAY
            info = SourceInfo("n", f"f{day}", "cu8", 2.4e6, 98e6, at, at + 4 * HOUR, 97e6, 99e6)
            with opened.recording(run_id, info, CHANNELS) as writer:
                writer.add_echoes(echo for echo in ECHOES if at <= echo.start_unix < at + DAY)
                for channel in CHANNELS:
                    writer.add_coverage(
                        [
                            CoverageSpan(channel.name, at, at + HOUR, "watched"),
                            CoverageSpan(channel.name, at + HOUR, at + 2 * HOUR, "lost", "receiver lost; rain, snow"),
                            CoverageSpan(channel.name, at + 2 * HOUR, at + 4 * HOUR, "watched"),
                        ]
                    )
        yield opened


def read_back(path, file_format, columns):
    """Read a file with a library that had no part in writing it, where there is one, into rows of cells."""
    names = [column.name for column in columns]
    if file_format == "jsonl":
        lines = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
        assert all(list(line) == names for line in lines)
        return [tuple(line.values()) for line in lines]
    if file_format == "parquet":
        table = pq.read_table(path)
        assert table.column_names == names
        return [
            tuple(
                format_utc(cell.timestamp()) if column.type == "time" and cell is not None else cell
                for column, cell in zip(columns, row, strict=True)
            )
            for row in zip(*(column.to_pylist() for column in table.columns), strict=True)
        ]
    if file_format == "ecsv":
        table = AstropyTable.read(path, format="ascii.ecsv")
        assert table.colnames == names
        return [tuple(None if cell is np.ma.masked else cell for cell in row) for row in table.iterrows()]
    header, *lines = csv.reader(io.StringIO(path.read_text(encoding="utf-8")))
    assert header == names
    kinds = {"integer": int, "number": float, "text": str, "time": str}
    return [
        tuple(kinds[column.type](cell) if cell else None for column, cell in zip(columns, line, strict=True))
        for line in lines
    ]


@pytest.mark.parametrize("name", TABLE_NAMES)
def test_all_formats_hold_the_same_table(store, tmp_path, name):
    columns = make_table(store, name).columns
    found = []
    for file_format in FORMATS:
        path = tmp_path / f"{name}.{file_format}"
        rows = write_table(make_table(store, name), path, file_format)
        found.append(read_back(path, file_format, columns))
        assert rows == len(found[-1]) > 2
    assert found[0] == found[1] == found[2] == found[3]


cells = {
    "integer": st.integers(-(2**53), 2**53),
    "number": st.none() | st.floats(allow_nan=False, allow_infinity=False),
    "text": st.none() | st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=9),
    "time": st.integers(0, 4_000_000_000_000).map(lambda milliseconds: milliseconds / 1000),
}


@given(st.lists(st.tuples(*(cells[column.type] for column in ECHO_COLUMNS)), max_size=4))
@settings(max_examples=40, deadline=None)
def test_any_cells_come_back_from_every_format(tmp_path_factory, rows):
    folder = tmp_path_factory.mktemp("cells")
    expected = [
        tuple(
            format_utc(cell) if column.type == "time" else cell for column, cell in zip(ECHO_COLUMNS, row, strict=True)
        )
        for row in rows
    ]
    for file_format in FORMATS:
        path = folder / f"table.{file_format}"
        write_table(Table(ECHO_COLUMNS, iter(rows), {}), path, file_format)
        assert read_back(path, file_format, ECHO_COLUMNS) == expected


def test_columns_are_as_pinned():
    def names(columns):
        return ", ".join(column.name for column in columns)

    assert names(ECHO_COLUMNS) == (
        "id, channel, start_utc, duration_s, peak_utc, peak_snr_db, energy_snr_s, class, class_probability, "
        "decay_time_s, decay_time_sd_s, doppler_hz, doppler_sd_hz, doppler_rate_hz_s, height_km, height_sd_km, "
        "rds_pi, flags"
    )
    assert names(COVERAGE_COLUMNS) == "channel, start_utc, end_utc, state, reason"
    assert names(RATE_COLUMNS) == (
        "channel, start_utc, end_utc, echoes, coverage_s, busy_s, rate_per_h, rate_low_per_h, rate_high_per_h, "
        "solar_longitude_deg, local_solar_hour"
    )


def test_the_lines_of_a_csv_file(store, tmp_path):
    path = tmp_path / "echoes.csv"
    write_table(make_table(store, "echoes"), path, "csv")
    assert path.read_text(encoding="utf-8").splitlines()[1:] == [
        "1,north-sea,2026-08-13T02:00:10.000Z,0.31,2026-08-13T02:00:10.050Z,17.25,4.5,underdense,0.93,0.3333333,,"
        "-31.5,,,,,F3A7,clipped;merged",
        '2,"odd, ""name""; é",2026-08-13T05:00:00.000Z,40.0,2026-08-13T05:00:01.000Z,3.0,80.0,aircraft,,,,,,,,,,',
        "3,north-sea,2026-09-02T02:00:00.000Z,0.1,2026-09-02T02:00:00.000Z,9.0,0.5,unknown,,,,,,,,,,",
    ]


def test_an_hour_that_was_lost_has_no_rate_and_hours_nobody_watched_have_no_row(store):
    rows = list(make_table(store, "rates", channels=["north-sea"]).rows)
    assert [row[3] for row in rows] == [1, 0, 0, 0, 1, 0, 0, 0]
    # Coverage of an hour that was lost is 0 s; its rate and limits are empty.
    assert rows[1][4:9] == (0.0, 0.0, None, None, None)
    assert rows[2][6] == 0.0


def test_a_span_and_a_channel_are_selected(store):
    table = make_table(store, "echoes", START_UNIX, START_UNIX + DAY, ["north-sea"])
    assert [row[0] for row in table.rows] == [1]
    with pytest.raises(RequestError, match='no channel "nowhere"'):
        list(make_table(store, "echoes", channels=["nowhere"]).rows)


def test_the_operators_class_is_the_one_exported(store):
    store.give_verdict(2, Verdict("satellite", "operator", "", START_UNIX))
    row = list(make_table(store, "echoes").rows)[1]
    store.give_verdict(2, None)
    assert (row[7], row[8]) == ("satellite", None)


def test_ecsv_carries_units_and_provenance(store, tmp_path):
    path = tmp_path / "rates.ecsv"
    write_table(make_table(store, "rates"), path, "ecsv")
    table = AstropyTable.read(path)
    assert table["rate_per_h"].unit == 1 / units.hour
    assert table["busy_s"].unit == units.s
    assert table["solar_longitude_deg"].unit == units.deg
    assert table.meta["roles"] == {"north-sea": "target", 'odd, "name"; é': "guard"}
    assert table.meta["runs"][0]["site"] == "Harrow Fell"
    # The table may be published, the home's coordinates may not.
    assert "54.61" not in path.read_text(encoding="utf-8")
    echoes = tmp_path / "echoes.ecsv"
    write_table(make_table(store, "echoes"), echoes, "ecsv")
    assert AstropyTable.read(echoes)["doppler_rate_hz_s"].unit == units.Hz / units.s


def test_parquet_carries_units_and_times_that_are_times(store, tmp_path):
    path = tmp_path / "echoes.parquet"
    write_table(make_table(store, "echoes"), path, "parquet")
    schema = pq.read_schema(path)
    assert str(schema.field("start_utc").type) == "timestamp[ms, tz=UTC]"
    assert schema.field("height_km").metadata[b"unit"] == b"km"
    assert json.loads(schema.metadata[b"provenance"])["runs"][0]["site"] == "Harrow Fell"


def test_an_empty_table_has_its_columns_in_every_format(tmp_path):
    with Store.open(tmp_path / "empty.db", "create") as empty:
        for name in TABLE_NAMES:
            for file_format in FORMATS:
                path = tmp_path / f"{name}.{file_format}"
                assert write_table(make_table(empty, name), path, file_format) == 0
                assert read_back(path, file_format, make_table(empty, name).columns) == []


def test_nothing_is_overwritten_and_nothing_half_written_stays(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("precious")
    with pytest.raises(RequestError, match=r"table\.csv: is there already: --force overwrites it"):
        write_table(Table(COVERAGE_COLUMNS, iter([]), {}), path, "csv")

    def broken():
        yield "north-sea", START_UNIX, START_UNIX + 1, "watched", None
        raise OSError(28, "No space left on device")

    with pytest.raises(SkyglintError, match=r"table\.csv: cannot be written: No space left on device"):
        write_table(Table(COVERAGE_COLUMNS, broken(), {}), path, "csv", overwrite=True)
    assert path.read_text() == "precious"
    assert list(tmp_path.iterdir()) == [path]
    write_table(Table(COVERAGE_COLUMNS, iter([]), {}), path, "csv", overwrite=True)
    assert path.read_text() == "channel,start_utc,end_utc,state,reason\n"


def test_places_that_cannot_be_written_to(tmp_path, capsys):
    table = Table(COVERAGE_COLUMNS, iter([]), {})
    with pytest.raises(RequestError, match="is a folder"):
        write_table(table, tmp_path, "csv")
    with pytest.raises(RequestError, match="there is no folder"):
        write_table(table, tmp_path / "nowhere" / "x.csv", "csv")
    with pytest.raises(SkyglintError, match="cannot be written: File name too long"):
        write_table(table, tmp_path / ("n" * 300), "csv")
    with pytest.raises(RequestError, match="Parquet file cannot go to standard output"):
        write_table(table, None, "parquet")
    write_table(table, None, "csv")
    assert capsys.readouterr().out == "channel,start_utc,end_utc,state,reason\n"


def test_numbers_keep_seven_digits_and_are_never_nan(store):
    for name in TABLE_NAMES:
        for row in make_table(store, name).rows:
            assert not any(isinstance(cell, float) and math.isnan(cell) for cell in row)
