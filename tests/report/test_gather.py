import dataclasses
from datetime import date

import numpy as np
import pytest

from skyglint.activity.rates import read_rates
from skyglint.echoes.echo import METEORIC
from skyglint.errors import RequestError
from skyglint.report.gather import BEST, gather_night
from skyglint.store import Store, Verdict


@pytest.fixture(scope="module")
def page(outage_store):
    with Store.open(outage_store) as store:
        return gather_night(store)


def test_the_place_is_rounded_before_it_reaches_the_page(page):
    assert (page.latitude_deg, page.longitude_deg) == (54.6, -2.9)


def test_every_echo_of_the_night_is_there_in_order_of_time(page, outage_store):
    with Store.open(outage_store) as store:
        stored = store.echoes()
    assert [entry.id for entry in page.echoes] == [entry.id for entry in stored]
    starts = [entry.echo.start_unix for entry in page.echoes]
    assert starts == sorted(starts)
    assert sum(lane.bursts for lane in page.lanes) == len(stored)


def test_rates_are_the_rows_of_the_table(page, outage_store):
    with Store.open(outage_store) as store:
        rows = read_rates(store)
    # As text, because an unmeasured rate is NaN and never equals itself.
    assert sorted(str(row) for lane in page.lanes for row in lane.hours) == sorted(map(str, rows))
    for lane in page.lanes:
        assert lane.night.echoes == sum(row.echoes for row in lane.hours)


def test_solar_hours_hold_every_counted_echo(page):
    targets = {lane.channel.name for lane in page.lanes if lane.channel.role == "target"}
    counted = sum(e.echo.channel in targets and e.echo.echo_class in METEORIC for e in page.echoes)
    assert sum(hour.echoes for hour in page.solar_hours) == page.all_targets.echoes == counted
    hours = [hour.solar_hour for hour in page.solar_hours]
    assert len(hours) == len(set(hours))


def test_watched_and_lost_fill_the_night(page):
    for lane in page.lanes:
        lost_s = sum(span.end_unix - span.start_unix for span in lane.lost)
        assert lane.watched_s + lost_s == pytest.approx(page.end_unix - page.start_unix, abs=0.01)


def test_nothing_is_drawn_where_nothing_was_watched(page):
    lane = page.lanes[0]
    edges = np.linspace(page.start_unix, page.end_unix, len(lane.power_db) + 1)
    for span in lane.lost:
        inside = (edges[:-1] >= span.start_unix) & (edges[1:] <= span.end_unix)
        assert inside.any()
        assert np.isnan(lane.power_db[inside]).all()


def test_the_best_count_as_meteors_and_have_their_pictures_where_kept(page):
    assert 0 < len(page.best) <= BEST
    assert all(entry.meteoric for entry in page.best)
    assert set(page.pictures) <= {entry.id for entry in page.best}
    assert all(len(spark) <= 60 for spark in page.sparks.values())


def test_the_operators_verdict_wins(outage_store, tmp_path):
    copy = tmp_path / "copy.db"
    copy.write_bytes(outage_store.read_bytes())
    with Store.open(copy, "write") as store:
        before = gather_night(store)
        judged = before.best[0]
        store.give_verdict(judged.id, Verdict("aircraft", "observer", "seen", before.end_unix))
        after = gather_night(store)
    assert after.all_targets.echoes == before.all_targets.echoes - 1
    assert judged.id not in {entry.id for entry in after.best}


def test_another_night_is_refused_with_what_there_is(outage_store):
    with Store.open(outage_store) as store, pytest.raises(RequestError, match="only that of 2026-08-12"):
        gather_night(store, date(2026, 8, 13))


def test_the_record_is_plain_and_frozen(page):
    with pytest.raises(dataclasses.FrozenInstanceError):
        page.site_name = "x"
