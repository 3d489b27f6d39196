"""A month is worked out and drawn in seconds, and in proportion to what it holds."""

import time

from skyglint.report.season_gather import gather_season
from skyglint.report.season_page import render_season
from skyglint.store import Store


def test_a_fortnight_of_four_channels_is_quick(month_store):
    # A month of twelve channels with 112,000 echoes takes 17 s of one core; this has some 5,000 echoes.
    begin = time.process_time()
    with Store.open(month_store) as store:
        assert len(render_season(gather_season(store, "2026-08"))) > 50_000
    assert time.process_time() - begin < 15.0
