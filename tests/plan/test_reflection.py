import math

import numpy as np
import pytest

from skyglint.plan.reflection import judge, needed_snr_db, reflected_power_dbm
from skyglint.plan.settings import PlanSettings

TIMES = np.arange(0.0, 300.0, 10.0)


def verdict(kind, power_dbm, frequency_hz=98e6, bandwidth_hz=200e3):
    return judge("far", kind, frequency_hz, bandwidth_hz, TIMES, np.full(30, power_dbm), PlanSettings())


@pytest.mark.parametrize(("frequency_hz", "range_km", "section_m2"), [(100e6, 1000.0, 100.0), (2.25e9, 400.0, 1.0)])
def test_radar_equation_against_itu(frequency_hz, range_km, section_m2):
    # ITU-R P.525-4 sect. 3: free-space loss of a radar with one antenna,
    # L = 103.4 + 20 log f(MHz) + 40 log d(km) - 10 log sigma(m2).
    loss_db = 103.4 + 20 * np.log10(frequency_hz / 1e6) + 40 * np.log10(range_km) - 10 * np.log10(section_m2)
    power = reflected_power_dbm(1e6, 6.0, frequency_hz, section_m2, range_km, range_km)
    assert power == pytest.approx(90.0 + 6.0 - loss_db, abs=0.1)


def test_the_ends_may_be_swapped():
    there = reflected_power_dbm(1e5, 0.0, 98e6, 10.0, 700.0, 1500.0)
    assert there == pytest.approx(float(reflected_power_dbm(1e5, 0.0, 98e6, 10.0, 1500.0, 700.0)))


def test_needed_ratio():
    # 7 sqrt(28 Hz / 100 s) = 3.7; an FM channel is bounded by the gain's wandering, not by its noise.
    assert needed_snr_db("carrier", 6e3, 100.0) == pytest.approx(10 * math.log10(3.704), abs=0.01)
    assert needed_snr_db("fm", 200e3, 10.0) == pytest.approx(10 * math.log10(0.015))


def test_verdicts():
    # Noise at 98 MHz: ITU-R P.372 residential about 17 dB over kT0 (-174 dBm/Hz): -104 dBm in 200 kHz.
    assert verdict("fm", -105.0).hope == "yes"
    assert verdict("fm", -140.0).hope == "none"
    assert "no hope" in verdict("fm", -140.0).sentence
    assert "a bare carrier of the same power would do" in verdict("fm", -140.0).sentence
    assert "would still miss" in verdict("fm", -175.0).sentence
    assert verdict("carrier", -140.0).hope == "yes"
    assert verdict("carrier", -175.0).hope == "none"
    at_limit = verdict("fm", -140.0)
    limit = -140.0 - at_limit.snr_db + at_limit.needed_db
    assert verdict("fm", limit).hope == "marginal"


def test_only_what_both_see_counts():
    power = np.where((TIMES >= 50) & (TIMES <= 90), -120.0 - 0.01 * TIMES, np.nan)
    one = judge("far", "fm", 98e6, 200e3, TIMES, power, PlanSettings())
    assert (one.start_unix, one.end_unix, one.best_unix) == (50.0, 90.0, 50.0)
    none = judge("far", "fm", 98e6, 200e3, TIMES, np.full(30, np.nan), PlanSettings())
    assert math.isnan(none.snr_db)
    assert "never sees" in none.sentence
