"""Station checks: each verdict from its numbers, and the numbers from samples made here with known faults."""

import math

import numpy as np
import pytest

from skyglint.errors import SourceError
from skyglint.signals.block import Block, Encoding, Gap, SourceInfo
from skyglint.site import parse_site
from skyglint.station import check
from skyglint.station.check import Listening
from skyglint.station.check_run import listen, run_checks

RATE, CENTER = 1.2e6, 98e6
CU8 = Encoding("cu8", np.dtype(np.uint8), 127.5, 127.5)
SITE = parse_site(
    """
[site]
name = "Fell"
latitude_deg = 54.6
longitude_deg = -2.9
height_m = 200
timezone = "UTC"
[antenna]
azimuth_deg = 0
elevation_deg = 0
gain_dbi = 0
beamwidth_deg = 90
height_above_ground_m = 2
polarization = "horizontal"
[receiver]
source = "rtltcp://127.0.0.1:1234"
center_frequency_hz = 98_000_000
sample_rate_hz = 1_200_000
gain_db = 20.0
correction_ppm = 0.0
[[channel]]
name = "far"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
[[channel]]
name = "quiet"
role = "guard"
kind = "fm"
frequency_hz = 98_100_000
[[channel]]
name = "town"
role = "reference"
kind = "fm"
frequency_hz = 97_600_000
[[channel]]
name = "beyond"
role = "target"
kind = "fm"
frequency_hz = 105_000_000
"""
)


class Fake:
    """A receiver whose clock is fast by ``ppm``, with a local stereo station and, if asked, a direct target."""

    def __init__(self, ppm=0.0, far=0.0, gain=1.0, gap_s=0.0):
        self.ppm, self.far, self.gain, self.gap_s = ppm, far, gain, gap_s
        self.info = SourceInfo("fake", "", "cu8", RATE, CENTER, 0.0, math.nan, CENTER - RATE / 2, CENTER + RATE / 2)

    def blocks(self, block_s=0.1):
        rng = np.random.default_rng(4)
        start = 0.0
        for number in range(200):
            n = np.arange(number * int(RATE * block_s), (number + 1) * int(RATE * block_s))
            true_s = n / (RATE * (1 + self.ppm * 1e-6))
            # A pilot of 7.5 kHz deviation on the reference: phase = 2 pi f t - (7.5/19) cos(2 pi 19 kHz t).
            offset = 97.6e6 - CENTER * (1 + self.ppm * 1e-6)
            phase = 2 * np.pi * offset * true_s - 7.5 / 19 * np.cos(2 * np.pi * 19e3 * true_s)
            signal = 0.1 * np.exp(1j * phase)
            if self.far:
                width = np.cumsum(rng.normal(0, 0.35, len(n)))
                signal = signal + self.far * np.exp(1j * (2 * np.pi * 0.3e6 * true_s + width))
            noise = 0.03 * (rng.standard_normal(len(n)) + 1j * rng.standard_normal(len(n)))
            iq = self.gain * (signal + noise)
            raw = np.stack([iq.real, iq.imag], axis=1).ravel() * 127.5 + 127.5
            yield Block(np.clip(np.rint(raw), 0, 255).astype(np.uint8), CU8, 0, 0.0, int(n[0]), RATE, CENTER)
            start += block_s
            if self.gap_s and number == 3:
                yield Gap(start, start + self.gap_s, "lost")


def by_name(checks):
    return {item.name: item for item in checks}


def test_a_healthy_station(tmp_path):
    listening, speed = listen(Fake(), SITE, 0.5)
    assert 10 ** (listening.level_dbfs / 10) == pytest.approx(0.01 + 2 * 0.03**2, rel=0.02)
    assert listening.clipped_share == 0.0
    assert speed > 0
    checks = by_name(check.check_targets(listening.density_db, ["far"], ["quiet"]))
    assert checks["far silent"].verdict == "good"


def test_the_clock_error_is_read_from_the_pilot():
    listening, _ = listen(Fake(ppm=31.0), SITE, 1.0)
    verdict = check.check_clock(listening, 0.0)
    assert verdict.verdict == "attend"
    measured = float(verdict.measured.split()[0])
    assert measured == pytest.approx(31.0, abs=0.5)


def test_a_target_that_is_heard_directly():
    listening, _ = listen(Fake(far=0.1), SITE, 0.5)
    checks = by_name(check.check_targets(listening.density_db, ["far", "beyond"], ["quiet"]))
    assert checks["far silent"].verdict == "bad"
    assert checks["beyond in the band"].verdict == "bad"


@pytest.mark.parametrize(
    ("level", "clipped", "verdict"),
    [(-20.0, 0.0, "good"), (-50.0, 0.0, "attend"), (-5.0, 0.0, "attend"), (-12.0, 1e-5, "attend"), (-3.0, 0.1, "bad")],
)
def test_levels(level, clipped, verdict):
    assert check.check_level(level, clipped).verdict == verdict


def test_the_highest_gain_with_headroom_is_recommended():
    trials = [(0.0, -40.0, 0.0), (20.0, -22.0, 0.0), (30.0, -13.0, 0.0), (40.0, -4.0, 0.02)]
    assert check.recommend_gain(trials).advice == "Set gain_db = 30."
    assert check.recommend_gain([(0.0, -2.0, 0.3)]).verdict == "bad"
    assert check.recommend_gain([(0.0, -60.0, 0.0), (49.0, -45.0, 0.0)]).verdict == "attend"


def test_other_verdicts():
    assert check.check_samples(0.0, 10.0).verdict == "good"
    assert check.check_samples(0.1, 10.0).verdict == "attend"
    assert check.check_samples(1.0, 10.0).verdict == "bad"
    assert check.check_disk(1e12, 12).verdict == "good"
    assert check.check_disk(1e6, 12).verdict == "bad"
    assert check.check_speed(0.9).verdict == "bad"
    assert check.check_computer_clock(None).verdict == "attend"
    assert check.check_computer_clock(False).verdict == "bad"
    assert check.check_clock(Listening(1.0, -20.0, 0.0), 0.0).verdict == "attend"
    guards = by_name(check.check_guards({"a": -80.0, "b": -70.0}, ["a", "b", "c"]))
    assert [guards[name].verdict for name in ("a empty", "b empty", "c in the band")] == ["good", "attend", "bad"]
    assert check.check_targets({"t": -80.0}, ["t"], [])[0].verdict == "attend"


def test_without_a_receiver_the_computer_is_checked_all_the_same(tmp_path):
    def absent(gain_db):
        raise SourceError("rtltcp://127.0.0.1:1234: no receiver answers")

    checks = by_name(run_checks(SITE, tmp_path, absent, try_gains=True))
    assert checks["receiver"].verdict == "bad"
    assert {"disk", "computer clock"} <= set(checks)


def test_everything_together(tmp_path):
    checks = by_name(run_checks(SITE, tmp_path, lambda gain_db: Fake(gap_s=0.005), try_gains=False, listen_s=0.6))
    assert checks["receiver"].verdict == "good"
    assert checks["samples"].verdict == "attend"
    assert checks["beyond in the band"].verdict == "bad"
    assert checks["receiver clock"].verdict == "good"


def test_a_guard_on_a_target_is_to_be_moved():
    assert check.check_bands(SITE.crowded_guards()) == []
    channels = list(SITE.channel)
    guard = next(channel for channel in channels if channel.role == "guard")
    # 199 kHz apart two channels of 200 kHz share 1 kHz; 200 kHz apart they touch and share nothing.
    for apart_hz, shared in ((199e3, 1), (200e3, 0)):
        target = channels[0].model_copy(update={"frequency_hz": guard.frequency_hz + apart_hz})
        site = SITE.model_copy(update={"channel": (target, guard)})
        (*found,) = check.check_bands(site.crowded_guards())
        assert len(found) == shared
        assert all(one.verdict == "attend" and target.name in one.measured for one in found)
