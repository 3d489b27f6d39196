import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.station.live import LiveMessage
from skyglint.web.recent import SPAN_S, STEP_S, Recent
from skyglint.web.spectra import COLUMNS, RecentSpectra, as_bytes

START = 1786591800.0


def told(end: float, level: float, step: float = 0.1, **spectra: np.ndarray) -> LiveMessage:
    return LiveMessage(end, step, "watching", "", {"a": level}, {"a": -50.0}, spectra)


def test_readings_stand_at_their_time_newest_last():
    recent = Recent(["a", "b"])
    for index in range(30):
        recent.take(told(START + 0.1 * (index + 1), float(index)))
    columns = recent.columns(6000)
    assert recent.end_unix == pytest.approx(START + 3.0)
    assert columns["a"][-30:].tolist() == list(range(30))
    assert np.isnan(columns["a"][:-30]).all()
    assert np.isnan(columns["b"]).all()


def test_a_column_holds_the_largest_of_its_readings():
    recent = Recent(["a"])
    for index in range(10):
        recent.take(told(START + 0.1 * (index + 1), 20.0 if index == 3 else 1.0))
    assert recent.columns(600)["a"][-1] == 20.0


def test_a_gap_stays_empty_and_a_jump_empties_all():
    recent = Recent(["a"])
    recent.take(told(START, 5.0))
    recent.take(told(START + 2.0, 6.0))
    columns = recent.columns(6000)["a"]
    assert columns[-1] == 6.0
    assert columns[-21] == 5.0
    assert np.isnan(columns[-20:-1]).all()
    recent.take(told(START - 3600.0, 7.0))  # the clock was set back
    assert np.nansum(recent.columns(6000)["a"]) == 7.0
    recent.take(told(START + 9e5, 8.0))
    assert np.nansum(recent.columns(6000)["a"]) == 8.0


@given(st.lists(st.floats(0.05, 0.4), min_size=1, max_size=40))
def test_messages_that_abut_leave_no_hole(steps):
    recent = Recent(["a"])
    end = START
    for step in steps:
        end += step
        recent.take(told(end, 1.0, step))
    heard = np.isfinite(recent.columns(6000)["a"]).sum()
    assert abs(heard - sum(steps) / STEP_S) <= 1.5


def test_what_the_database_has_fills_the_holes_only():
    recent = Recent(["a"])
    recent.take(told(START, 9.0))
    recent.fill("a", START - 2.0, 0.1, np.arange(20, dtype=np.float32))
    recent.fill("unknown", START, 0.1, np.ones(3, np.float32))
    assert recent.columns(6000)["a"][-20:].tolist() == [*range(19), 9.0]
    assert math.isclose(SPAN_S / STEP_S, 6000)


def test_spectra_keep_the_strongest_of_a_column():
    spectra = RecentSpectra()
    assert spectra.columns("a") is None
    for end, level in ((START + 0.1, 2.0), (START + 0.3, 8.0), (START + 0.7, 4.0)):
        spectra.take(told(end, 1.0, a=np.array([level, 0.0, math.nan], np.float32)))
    columns = spectra.columns("a")
    assert columns.shape == (COLUMNS, 3)
    assert columns[-2:].tolist() == [[32, 0, 0], [16, 0, 0]]
    assert not columns[:-2].any()
    spectra.take(told(START + 300.0, 1.0))  # shed for a while: what is old moves left, nothing stands in between
    assert spectra.columns("a")[-600 + 0 :].sum() < columns.sum() + 1
    spectra.take(told(START - 9e4, 1.0))
    assert not spectra.columns("a").any()


def test_bytes_say_quarter_decibels_over_the_floor():
    assert as_bytes(np.array([-3.0, 0.0, 1.0, 10.1, 99.0], np.float32)).tolist() == [0, 0, 4, 40, 255]
