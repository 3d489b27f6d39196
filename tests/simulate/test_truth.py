import dataclasses
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.errors import RequestError
from skyglint.simulate.other_envelopes import burst
from skyglint.simulate.trail_envelopes import underdense
from skyglint.simulate.truth import VISIBLE_SNR_DB, TrueEvent, Truth, read_truth, truth_path, visible, write_truth

EVENT = TrueEvent(
    channel="north, sea",
    transmitter="far",
    start_unix=1786592403.125,
    duration_s=0.4,
    peak_unix=1786592403.25,
    peak_snr_db=15.5,
    energy_snr_s=1.25,
    echo_class="underdense",
    decay_time_s=0.125,
    doppler_hz=-3.5,
    height_km=95.0,
    rds_pi="F3A7",
)


def same(first, second):
    pairs = zip(dataclasses.astuple(first), dataclasses.astuple(second), strict=True)
    return all(a == b or (a != a and b != b) for a, b in pairs)


def test_written_and_read(tmp_path):
    lightning = TrueEvent("*", "", 1786592410.0, 0.2, 1786592410.125, 14.0, 0.5, "lightning")
    truth = Truth((EVENT, lightning), ((1786592420.0, 1786592427.5),))
    write_truth(truth, tmp_path / "a.truth.csv")
    again = read_truth(tmp_path / "a.truth.csv")
    assert again.losses == truth.losses
    assert all(same(a, b) for a, b in zip(again.events, truth.events, strict=True))
    # What does not apply is empty, never zero.
    assert (tmp_path / "a.truth.csv").read_text().splitlines()[2].endswith("lightning,,,,,")


def test_columns_are_those_of_the_echo_table(tmp_path):
    write_truth(Truth((EVENT,)), tmp_path / "a.csv")
    header = (tmp_path / "a.csv").read_text().splitlines()[0].split(",")
    assert header[0] == "channel"
    assert {"start_utc", "duration_s", "peak_utc", "peak_snr_db", "class", "decay_time_s", "doppler_hz"} < set(header)


@pytest.mark.parametrize("name", ["night", "night.sigmf-meta", "night.sigmf-data"])
def test_stands_beside_the_recording(tmp_path, name):
    assert truth_path(tmp_path / name) == tmp_path / "night.truth.csv"


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("underdense", "meteor", 'line 2: class "meteor": expected one of underdense'),
        ("2026-08-13T03:40:03.125Z", "yesterday", "line 2: 'yesterday' is not a UTC time"),
        ("0.125", "quick", "line 2: could not convert"),
        ("channel,", "lane,", "line 1 is"),
    ],
)
def test_faults_name_the_line(tmp_path, old, new, message):
    path = tmp_path / "a.csv"
    write_truth(Truth((EVENT,)), path)
    path.write_text(path.read_text().replace(old, new, 1))
    with pytest.raises(RequestError, match=message):
        read_truth(path)


def test_unreadable(tmp_path):
    with pytest.raises(RequestError, match="no such truth file"):
        read_truth(tmp_path / "none.csv")
    with pytest.raises(RequestError, match="cannot be read"):
        read_truth(tmp_path)


@given(st.floats(0.02, 20), st.floats(0, 40))
def test_a_burst_is_visible_for_its_length(duration_s, snr_db):
    seen = visible(burst(2.0, duration_s, 0.0).scaled(10 ** (snr_db / 10)), VISIBLE_SNR_DB["fm"])
    assert seen.start_s == pytest.approx(2.0)
    assert seen.duration_s == pytest.approx(duration_s)
    assert seen.energy_snr_s == pytest.approx(duration_s * 10 ** (snr_db / 10), rel=0.01)


def test_an_underdense_echo_is_visible_until_it_has_decayed():
    # Power falls by 20 / ln 10 * 2 / 2 = 8.686 dB in one decay time: 24.58 dB from 15 dB to the level at -9.58 dB.
    seen = visible(underdense(0.0, 0.02, 0.2).scaled(10**1.5), VISIBLE_SNR_DB["fm"])
    assert seen.start_s + seen.duration_s - seen.peak_s == pytest.approx(24.58 / 8.686 * 0.2, rel=0.05)
    assert math.isclose(seen.peak_s, 0.02, abs_tol=0.02)


def test_what_never_reaches_the_level_counts_by_its_half_power_width():
    seen = visible(burst(0.0, 1.0, 0.0).scaled(0.001), VISIBLE_SNR_DB["fm"])
    assert seen.duration_s == pytest.approx(1.0)
