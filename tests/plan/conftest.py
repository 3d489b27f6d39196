"""An invented site, and the plan that the invented list gives there, worked out once."""

import pytest

from skyglint.plan.demo import demo_listing
from skyglint.plan.planning import make_plan
from skyglint.plan.selection import propose
from skyglint.plan.settings import PlanSettings
from skyglint.site import parse_site

SITE = """# A comment worth keeping.
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
center_frequency_hz = 98_000_000   # the middle
sample_rate_hz = 2_400_000
gain_db = 30.0
correction_ppm = 0.0

[[channel]]
name = "old"
role = "guard"
kind = "fm"
frequency_hz = 97_700_000
"""


@pytest.fixture(scope="session")
def site_text():
    return SITE


@pytest.fixture(scope="session")
def site():
    return parse_site(SITE)


@pytest.fixture(scope="session")
def plan(site):
    return make_plan(site, demo_listing().transmitters, PlanSettings())


@pytest.fixture(scope="session")
def proposal(plan):
    return propose(plan)
