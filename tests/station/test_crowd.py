"""A small crowd before the whole chain of real processes: replay, engine, pages, viewers."""

from skyglint.station import crowd as module
from skyglint.station.crowd import measure_crowd


def test_a_crowd_costs_no_sample_and_starves_nobody(monkeypatch):
    monkeypatch.setattr(module, "LOOP_S", 5)
    # The detector knows its floors after ten seconds, and closes the echoes of that time then.
    monkeypatch.setattr(module, "SETTLE_S", 14.0)
    crowd = measure_crowd(30, 6.0, burst_every_s=1.0)
    assert crowd.lost_s == 0.0
    assert crowd.viewers_dropped == 0
    assert 55 <= crowd.readings_least <= crowd.readings_most <= crowd.readings_least + 1
    assert crowd.delay_median_s < 0.5
    assert crowd.echoes >= 5
    # An echo is told once it is stored: two seconds to the disk, and half a one until it is known to be over.
    assert crowd.echo_delay_max_s < 2.5
