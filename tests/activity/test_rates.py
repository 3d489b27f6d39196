"""Rates: bins, gaps, dead time, the operator's word, overlapping recordings."""

import math

import numpy as np
import pytest

from skyglint.activity.bins import hour_edges, night_edges
from skyglint.activity.rates import distinct, rates, read_rates
from skyglint.echoes.echo import Echo
from skyglint.errors import RequestError
from skyglint.signals.block import SourceInfo
from skyglint.site import Channel
from skyglint.store import CoverageSpan, Store, StoredEcho, Verdict
from skyglint.utc import parse_utc

START_UNIX = parse_utc("2026-08-13T02:00:00Z")
HOUR = 3600.0
TARGET = Channel(name="north-sea", role="target", kind="fm", frequency_hz=98.3e6)
INFO = SourceInfo("n", "f", "cu8", 2.4e6, 98e6, START_UNIX, START_UNIX + 3 * HOUR, 97e6, 99e6)
GUARD = Channel(name="quiet", role="guard", kind="fm", frequency_hz=98.7e6)
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


def watched(start_h, end_h, channel="north-sea"):
    return CoverageSpan(channel, START_UNIX + start_h * HOUR, START_UNIX + end_h * HOUR, "watched")


def lost(start_h, end_h, channel="north-sea"):
    return CoverageSpan(channel, START_UNIX + start_h * HOUR, START_UNIX + end_h * HOUR, "lost", "receiver lost")


def echo(at_s, duration_s=0.2, echo_class="underdense", channel="north-sea"):
    start = START_UNIX + at_s
    return Echo(channel, start, duration_s, start, 12.0, 1.0, echo_class=echo_class)


def stored(*echoes, recording_id=1, verdict=None):
    return [StoredEcho(number, recording_id, item, verdict) for number, item in enumerate(echoes, 1)]


def edges(hours):
    return START_UNIX + HOUR * np.arange(hours + 1)


def test_sixty_an_hour_with_five_seconds_each():
    # Non-paralysable dead time, m = 60/h and tau = 5 s: n = 65.454545/h (m / (1 - m tau), Knoll, chapter 4).
    found = stored(*(echo(30.0 + 60.0 * k, 5.0) for k in range(60)))
    (row,) = rates([TARGET], [watched(0, 1)], found, edges(1), -2.93)
    assert (row.echoes, row.coverage_s) == (60, pytest.approx(3600))
    assert row.busy_s == pytest.approx(300)
    assert row.rate_per_h == pytest.approx(65.454545, abs=5e-7)
    # Limits of 60 counts, computed with scipy.stats.gamma: 52.27568 and 68.78902; times 3600 / 3300.
    assert row.rate_low_per_h == pytest.approx(52.27568 * 12 / 11, abs=1e-3)
    assert row.rate_high_per_h == pytest.approx(68.78902 * 12 / 11, abs=1e-3)


def test_overlapping_echoes_hide_their_time_once_and_only_while_watched():
    found = stored(echo(0.0, 10.0), echo(5.0, 10.0, "aircraft"), echo(3590.0, 100.0, "ducting"))
    first, second = rates([TARGET], [watched(0, 1), watched(1.02, 2)], found, edges(2), 0.0)
    assert (first.echoes, second.echoes) == (1, 0)
    assert first.busy_s == pytest.approx(15 + 10)
    # 90 s reach into the second hour, 72 s of it unwatched.
    assert second.busy_s == pytest.approx(18)


def test_an_outage_is_a_gap_and_never_a_zero():
    rows = rates([TARGET], [watched(0, 1), lost(1, 2), watched(2, 3)], stored(echo(10.0)), edges(6), 0.0)
    assert [(row.start_unix - START_UNIX) / HOUR for row in rows] == [0, 1, 2]
    assert rows[1].coverage_s == 0
    assert all(math.isnan(value) for value in (rows[1].rate_per_h, rows[1].rate_low_per_h, rows[1].rate_high_per_h))
    # An hour that was watched and in which nothing fell is a rate of 0 with an upper limit.
    assert rows[2].rate_per_h == 0
    assert rows[2].rate_high_per_h == pytest.approx(1.8410, abs=1e-4)


def test_a_channel_hidden_from_end_to_end_has_no_rate():
    (row,) = rates([TARGET], [watched(0, 1)], stored(echo(0.0, 3600.0, "ducting")), edges(1), 0.0)
    assert row.coverage_s == row.busy_s == pytest.approx(3600)
    assert math.isnan(row.rate_per_h)


def test_the_operator_rules_out_and_in():
    aircraft, head = (Verdict(word, "operator", "", START_UNIX) for word in ("aircraft", "head"))
    found = [
        *stored(echo(1.0), echo(2.0, echo_class="unknown"), echo(3.0, echo_class="lightning")),
        *stored(echo(4.0), verdict=aircraft),
        *stored(echo(5.0, echo_class="interference"), verdict=head),
    ]
    (row,) = rates([TARGET], [watched(0, 1)], found, edges(1), 0.0)
    assert row.echoes == 3


def test_guards_have_rows_that_say_so():
    rows = rates([TARGET, GUARD], [watched(0, 1), watched(0, 1, "quiet")], stored(echo(1.0)), edges(1), 0.0)
    assert [(row.channel, row.role, row.echoes) for row in rows] == [("north-sea", "target", 1), ("quiet", "guard", 0)]


def test_an_echo_on_an_edge_belongs_to_the_later_bin():
    rows = rates([TARGET], [watched(0, 2)], stored(echo(3600.0), echo(3599.9)), edges(2), 0.0)
    assert [row.echoes for row in rows] == [1, 1]


def test_two_recordings_of_the_same_time_count_once():
    one = stored(echo(10.0, 2.0), echo(20.0), echo(30.0), recording_id=1)
    other = stored(echo(10.1, 0.5), echo(10.9, 0.8), echo(20.1), echo(50.0), recording_id=2)
    assert [round(item.echo.start_unix - START_UNIX, 3) for item in distinct(other + one)] == [10.0, 20.0, 30.0, 50.0]
    (row,) = rates([TARGET], [watched(0, 1), watched(0, 1)], one + other, edges(1), 0.0)
    assert (row.echoes, row.coverage_s) == (4, pytest.approx(3600))


def test_echoes_of_one_recording_may_overlap_and_channels_do_not_meet():
    found = stored(echo(10.0, 5.0), echo(11.0, 1.0), echo(11.0, channel="quiet"))
    assert len(distinct(found)) == 3


def test_solar_time_is_that_of_the_middle_of_the_bin():
    (row,) = rates([TARGET], [watched(0, 1)], [], edges(1), 15.0)
    # 13 August: equation of time -4 min 50 s, solar longitude of the Perseids' maximum 140.0 at 02 UTC; both from the
    # almanac's yearly course to the precision that is asked here.
    assert row.local_solar_hour == pytest.approx(2.5 + 1.0 - 4.83 / 60, abs=0.01)
    assert row.solar_longitude_deg == pytest.approx(140.0 + 0.5 * 0.04, abs=0.01)


def test_hours_and_nights_hold_the_span():
    assert hour_edges(START_UNIX + 1, START_UNIX + HOUR + 1).tolist() == edges(2).tolist()
    assert hour_edges(START_UNIX, START_UNIX).tolist() == edges(1).tolist()
    # At 180 degrees east mean noon is at midnight UTC, at 90 degrees west at 18 h UTC.
    midnight = parse_utc("2026-08-13T00:00:00Z")
    assert night_edges(midnight + 60, midnight + 120, 180.0).tolist() == [midnight, midnight + 86400]
    west = night_edges(midnight, midnight + 60, -90.0)
    assert west.tolist() == [midnight - 6 * HOUR, midnight + 18 * HOUR]


@pytest.fixture
def night(tmp_path):
    path = tmp_path / "night.db"
    with Store.open(path, "create") as store:
        run_id = store.begin_run("Harrow Fell", SITE_FILE, "scan", {}, START_UNIX)
        with store.recording(run_id, INFO, [TARGET, GUARD]) as writer:
            writer.add_coverage([watched(0.5, 3), watched(0, 3, "quiet")])
            writer.add_echoes(echo(HOUR * (0.6 + 0.1 * k), 30.0) for k in range(20))
        yield store


def test_rates_of_a_database_are_whole_bins_whatever_span_is_asked_for(night):
    everything = read_rates(night, channels=["north-sea"])
    assert [row.echoes for row in everything] == [4, 10, 6]
    part = read_rates(night, start_unix=START_UNIX + 1.2 * HOUR, end_unix=START_UNIX + 1.3 * HOUR)
    assert [row for row in part if row.channel == "north-sea"] == [everything[1]]
    (by_night,) = read_rates(night, "night", channels=["north-sea"])
    assert (by_night.echoes, by_night.coverage_s) == (20, pytest.approx(2.5 * HOUR))
    assert by_night.end_unix - by_night.start_unix == 86_400


def test_an_empty_database_or_span_has_no_rates(night, tmp_path):
    assert read_rates(night, start_unix=START_UNIX + 100 * HOUR) == []
    with Store.open(tmp_path / "empty.db", "create") as empty:
        assert read_rates(empty) == []


def test_rates_are_those_of_one_site(night, tmp_path):
    run_id = night.begin_run("Tarn End", SITE_FILE, "scan", {}, START_UNIX)
    with night.recording(run_id, INFO, [TARGET]) as writer:
        writer.add_coverage([watched(0, 1)])
    with pytest.raises(RequestError, match="several sites \\(Harrow Fell, Tarn End\\)"):
        read_rates(night)
    with Store.open(tmp_path / "night.db", site_name="Harrow Fell") as one:
        assert read_rates(one)
