"""The sky's integral held against another way to the same daily course: curves of single radiants."""

import numpy as np
import pytest

from skyglint.activity.response import channel_path
from skyglint.activity.sporadic_course import expected_course
from skyglint.plan.planning import make_plan
from skyglint.plan.settings import PlanSettings
from skyglint.site import Channel
from skyglint.transmitters.transmitter import Transmitter
from skyglint.utc import parse_utc


@pytest.mark.parametrize("month", [3, 6, 12])
def test_daily_course_agrees(site, month):
    channel = Channel(
        name="north-sea", role="target", kind="fm", frequency_hz=98.3e6, latitude_deg=58.72, longitude_deg=6.05,
        power_w=60_000.0, height_m=720.0,
    )  # fmt: skip
    path = channel_path(site, channel)
    other = expected_course(path, parse_utc(f"2026-{month:02d}-15T00:00:00Z"), np.arange(24) + 0.5)
    one = Transmitter("A", 98.3e6, "fm", 58.72, 6.05, 30_000.0, 30_000.0, height_m=720.0)
    (found,) = make_plan(site, [one], PlanSettings(environment="rural", mask_deg=2.0)).candidates
    course = found.by_month[month - 1] / found.by_month[month - 1].mean()
    # The other has no even background, polarisation and heights, so that it swings more; the shape is the same.
    assert np.corrcoef(course, other)[0, 1] > 0.9
    assert np.abs(course - other).max() < 0.4
