from skyglint.echoes.settings import DetectionSettings
from skyglint.echoes.tone_bursts import ToneCollector
from skyglint.echoes.tones import Hit

RATE_HZ = 8000.0


def collected(hits, now_s=100.0):
    collector = ToneCollector(DetectionSettings(), RATE_HZ)
    collector.add(hits)
    return collector.close(round(now_s * RATE_HZ), everything=True)


def hit(time_s, frequency_hz=0.0, energy=100.0, decay_s=0.04, breadth=0.05):
    return Hit(round(time_s * RATE_HZ), frequency_hz, decay_s, energy, breadth)


def test_hits_near_in_time_and_frequency_are_one_burst():
    (burst,) = collected([hit(10.0), hit(10.05, 20.0), hit(10.1, -30.0, 300.0)])
    assert burst.best.energy == 300.0
    assert burst.start == 80_000
    assert (burst.low_hz, burst.high_hz) == (-30.0, 20.0)


def test_a_drifting_line_is_one_burst():
    assert len(collected([hit(10 + 0.02 * i, 1000.0 - 60.0 * i) for i in range(20)])) == 1


def test_two_tones_far_apart_in_frequency_are_two():
    assert len(collected([hit(10.0), hit(10.0, 900.0, 90.0)])) == 2


def test_the_skirt_of_a_strong_tone_is_its_own():
    (burst,) = collected([hit(10.0, 0.0, 5000.0), hit(10.0, 900.0, 60.0)])
    assert burst.high_hz == 0.0


def test_a_crash_in_all_bands_is_one():
    hits = [hit(10.0 + 0.005 * i, 500.0 * i - 2500, 80.0 + i, breadth=0.9) for i in range(10)]
    assert len(collected(hits)) == 1


def test_what_comes_seconds_later_is_another():
    assert len(collected([hit(10.0), hit(12.0)])) == 2


def test_the_tail_of_a_closed_burst_is_not_a_new_one():
    collector = ToneCollector(DetectionSettings(), RATE_HZ)
    collector.add([hit(10.0, 0.0, 1000.0)])
    assert len(collector.close(round(12.0 * RATE_HZ))) == 1
    collector.add([hit(10.1, 0.0, 50.0)])
    assert collector.close(round(20 * RATE_HZ), everything=True) == []
