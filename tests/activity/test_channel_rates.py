import numpy as np
import pytest

from skyglint.activity.channel_rates import over_nights, over_solar_hours
from skyglint.activity.rates import Rate


def row(day, hour, echoes, live_h=1.0, channel="far"):
    start = 86_400.0 * day + 3600.0 * hour
    return Rate(channel, "target", start, start + 3600.0, echoes, 3600.0 * live_h, 0.0, 0, 0, 0, 0.0, hour + 0.5)


def test_hours_of_the_solar_day_add_up_over_days_and_not_over_channels():
    rows = [row(0, 3, 4), row(1, 3, 6, 0.5), row(0, 4, 1), row(0, 3, 9, channel="near")]
    found = over_solar_hours(rows)
    assert [(r.solar_hour, r.channel, r.rate.echoes, r.rate.exposure_h) for r in found] == [
        (3, "far", 10, 1.5), (3, "near", 9, 1.0), (4, "far", 1, 1.0),
    ]  # fmt: skip
    # Garwood's limits of ten counts: 6.891 and 14.267 (Gehrels 1986, table).
    assert found[0].rate.low_per_h == pytest.approx(6.891 / 1.5, rel=1e-3)
    assert found[0].rate.high_per_h == pytest.approx(14.267 / 1.5, rel=1e-3)


def test_nights_that_scatter_are_told_by_a_negative_binomial():
    counts = np.random.default_rng(3).poisson(200.0 * np.random.default_rng(4).gamma(4.0, 0.25, 20))
    (far,) = over_nights([row(k, 0, int(n), 8.0) for k, n in enumerate(counts)])
    assert far.solar_hour == -1
    assert far.rate.method.startswith("negative binomial")
    (even,) = over_nights([row(k, 0, 25, 8.0) for k in range(20)])
    assert even.rate.method == "Poisson, exact limits"
