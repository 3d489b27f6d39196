import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.report.figures.timescale import STEPS_S, TimeScale


@given(st.floats(1e9, 2e9), st.floats(1.0, 86_400.0))
def test_ticks_are_round_inside_and_few(start, length):
    scale = TimeScale(start, start + length)
    step, ticks = scale.tick_step_s(), scale.ticks()
    assert all(start <= tick <= start + length and tick % step == 0 for tick in ticks)
    assert len(ticks) <= 9
    # No round time inside is forgotten.
    assert len(ticks) >= int(length // step)


@pytest.mark.parametrize(("length_s", "step_s"), [(180.0, 30), (20_520.0, 3600), (86_400.0, 10_800), (5.0, 1)])
def test_steps_are_those_of_a_clock(length_s, step_s):
    assert TimeScale(1786572600.0, 1786572600.0 + length_s).tick_step_s() == step_s
    assert step_s in STEPS_S


def test_a_moment_outside_stays_at_the_edge():
    scale = TimeScale(100.0, 200.0)
    assert [scale.share(unix) for unix in (50.0, 100.0, 125.0, 200.0, 300.0)] == [0.0, 0.0, 0.25, 1.0, 1.0]
