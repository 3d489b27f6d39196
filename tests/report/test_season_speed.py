"""A month is worked out and drawn in seconds, and in proportion to what it holds."""

import time

from skyglint.report.season_gather import gather_season
from skyglint.report.season_page import render_season
from skyglint.store import Store


def test_a_fortnight_of_four_channels_is_quick(month_store):
    # A month of twelve channels with 110,000 echoes takes 15 s of one core (scripts/month_speed.py); this has 5,000.
    begin = time.process_time()
    with Store.open(month_store) as store:
        assert len(render_season(gather_season(store, "2026-08"))) > 50_000
    assert time.process_time() - begin < 15.0
