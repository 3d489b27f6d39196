import math

import numpy as np
import pytest

from skyglint.echoes.echo import Echo, Snippet
from skyglint.web.echo_view import fitted_decay_db

START = 1786591867.0


def echo(**changes) -> Echo:
    values = {
        "channel": "a",
        "start_unix": START,
        "duration_s": 1.0,
        "peak_unix": START + 0.105,
        "peak_snr_db": 30.0,
        "energy_snr_s": 1.0,
        "decay_time_s": 0.25,
    }
    return Echo(**{**values, **changes})


def picture(level_db: float) -> Snippet:
    power = np.full(300, level_db, np.float32)
    return Snippet(START - 1.0, 0.01, power, np.array([-1.0, 1.0]), np.zeros((300, 2), np.float32))


def test_the_fit_falls_by_two_nepers_of_power_in_the_decay_time():
    # e^-2 in power is 20 log10(e) = 8.686 dB: the definition of the decay time.
    course = fitted_decay_db(echo(), picture(40.0))
    assert course[110] == pytest.approx(40.0)
    assert course[110] - course[135] == pytest.approx(8.686, abs=0.01)
    assert course[110] - course[160] == pytest.approx(2 * 8.686, abs=0.03)  # the floor adds a little
    assert np.isnan(course[:110]).all()
    assert np.isnan(course[201:]).all()


def test_it_ends_at_the_floor_and_never_below():
    course = fitted_decay_db(echo(decay_time_s=0.02), picture(10.0))
    assert np.nanmin(course) == pytest.approx(0.0, abs=1e-3)
    assert np.nanmin(course) >= 0.0


@pytest.mark.parametrize(
    ("changes", "level"),
    [({"decay_time_s": math.nan}, 20.0), ({"decay_time_s": 0.0}, 20.0), ({}, -1.0), ({}, math.nan)],
)
def test_without_a_decay_there_is_no_fit(changes, level):
    assert fitted_decay_db(echo(**changes), picture(level)) is None
