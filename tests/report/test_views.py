import dataclasses

import numpy as np
import pytest

from skyglint.report import views


def test_all_lanes_share_a_scale_that_holds_the_strongest(nights):
    page = nights["short"]
    strongest = max(float(np.nanmax(lane.power_db)) for lane in page.lanes)
    assert views.lane_top_db(page) == pytest.approx(max(views.LEAST_TOP_DB, 1.05 * strongest))
    assert views.lane_top_db(nights["empty"]) == views.LEAST_TOP_DB


def test_a_carriers_peak_is_referred_to_one_hertz(nights):
    page = nights["full"]
    units = {lane.channel.kind: views.snr_unit(page, lane.channel.name) for lane in page.lanes}
    assert units == {"fm": "dB", "carrier": "dB-Hz"}


def test_an_echo_without_a_picture_has_no_figure(nights):
    page = nights["short"]
    bare = dataclasses.replace(page, pictures={}, sparks={})
    assert views.picture_figure(bare, page.best[0]) is None
    assert views.spark_figure(bare, page.best[0]) is None
    assert "figure" in views.picture_figure(page, page.best[0])


def test_an_echo_shows_only_what_was_measured(nights):
    page = nights["short"]
    entry = page.echoes[0]
    bare = dataclasses.replace(
        entry.echo, decay_time_s=np.nan, height_km=np.nan, doppler_hz=np.nan, rds_pi="", flags=()
    )
    names = [name for name, _ in views.measurements(page, dataclasses.replace(entry, echo=bare))]
    assert names == ["peak", "lasted"]


@pytest.mark.parametrize(("swing_db", "reach_db"), [(0.4, 1.0), (1.9, 2.0), (4.0, 5.0), (30.0, 10.0)])
def test_floor_strips_share_the_reach_that_the_liveliest_needs(nights, swing_db, reach_db):
    page = nights["empty"]
    lane = page.lanes[0]
    levels = lane.floor.floor_db.copy()
    levels[:] = -50.0
    levels[3] += swing_db
    lively = dataclasses.replace(lane, floor=dataclasses.replace(lane.floor, floor_db=levels))
    assert views.floor_reach_db(dataclasses.replace(page, lanes=(lively,))) == reach_db
