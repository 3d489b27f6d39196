"""Channels of both kinds in one stretch: each burst is judged by all of them."""

import pytest

from skyglint.echoes.detector import Detector
from skyglint.simulate.frame_night import frame_night
from skyglint.simulate.scenario import Scenario
from skyglint.site import Channel

CHANNELS = [
    Channel(name="tone", role="target", kind="carrier", frequency_hz=98.05e6),
    Channel(name="far", role="target", kind="fm", frequency_hz=98.5e6),
    Channel(name="quiet", role="guard", kind="fm", frequency_hz=97.5e6),
    Channel(name="town", role="reference", kind="fm", frequency_hz=97.9e6),
]


@pytest.fixture(scope="module")
def heard():
    night = frame_night(
        Scenario.model_validate(
            {
                "recording": {
                    "start_utc": "2026-08-13T02:00:00Z",
                    "duration_s": 60.0,
                    "sample_rate_hz": 2_400_000.0,
                    "center_frequency_hz": 98_000_000.0,
                    "seed": 4,
                },
                "transmitter": (
                    {"name": "tone", "kind": "carrier", "frequency_hz": 98.05e6},
                    {"name": "far", "kind": "fm", "frequency_hz": 98.5e6},
                    {"name": "town", "kind": "fm", "frequency_hz": 97.9e6, "direct_snr_db": 30.0},
                ),
                "underdense": (
                    {"transmitter": "tone", "start_s": 20.0, "peak_snr_db": 50.0},
                    {"transmitter": "far", "start_s": 20.0, "peak_snr_db": 10.0},
                ),
                "lightning": ({"start_s": 35.0, "duration_s": 0.3, "peak_snr_db": 20.0},),
                "gain_step": ({"start_s": 45.0, "duration_s": 4.0, "step_db": 1.0},),
            }
        ),
        CHANNELS,
    )
    detector = Detector(night.channels, night.grids, night.geometry.frame_s)
    found = [findings for block in night.blocks(10.0) for findings in detector.process(block)] + detector.finish()
    start_unix = night.truth.events[0].start_unix - 20.0
    return [(echo.start_unix - start_unix, echo) for findings in found for echo in findings.echoes]


def between(heard, begin_s, end_s, channel):
    return [echo for at_s, echo in heard if begin_s < at_s < end_s and echo.channel == channel]


@pytest.mark.parametrize("channel", ["tone", "far"])
def test_a_trail_is_asked_for_in_guards_of_either_kind(heard, channel):
    (echo,) = between(heard, 19, 22, channel)
    assert echo.echo_class == "underdense"
    assert "of 2 other channels rose with it (0 of 1 guards)" in echo.reason


@pytest.mark.parametrize("channel", ["tone", "far", "quiet"])
def test_a_flash_is_seen_in_the_guard_whatever_the_channels_kind(heard, channel):
    echoes = between(heard, 34.5, 36, channel)
    assert echoes
    assert all(echo.echo_class in ("lightning", "interference") for echo in echoes)
    assert channel == "quiet" or any("1 of 1 guards" in echo.reason for echo in echoes)


def test_a_step_of_the_gain_is_told_by_the_reference(heard):
    echoes = between(heard, 44.5, 50, "far")
    assert echoes
    assert all(echo.echo_class == "interference" for echo in echoes)
    assert any("the reference rose as much" in echo.reason for echo in echoes)
