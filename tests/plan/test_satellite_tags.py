"""Tags of satellites: only where both ends see it, and only where a measured shift agrees."""

import dataclasses
import math

import numpy as np
import pytest

from skyglint.echoes.echo import Echo
from skyglint.plan.satellite_passes import SatellitePass, Track
from skyglint.plan.satellite_tags import satellite_tags
from skyglint.sky.orbits.reading import parse_elements
from skyglint.sky.passes import Pass
from skyglint.sky.satellites import Look
from skyglint.store.records import StoredEcho

ELEMENTS = """\
OBJECT_NAME,OBJECT_ID,EPOCH,MEAN_MOTION,ECCENTRICITY,INCLINATION,RA_OF_ASC_NODE,ARG_OF_PERICENTER,MEAN_ANOMALY,\
NORAD_CAT_ID,BSTAR
GLINT ONE,2026-012A,2026-11-20T12:00:00,15.4930962,.0006703,51.6416,247.4627,130.536,325.0288,400000,.0001
"""
START = 1_795_176_000.0 + 3600.0


def made_pass():
    """A pass of 400 s whose shift falls by 20 Hz/s; the transmitter sees the satellite from second 100."""
    seconds = np.arange(0.0, 401.0, 10.0)
    shift = np.where(seconds >= 100, 4000.0 - 20.0 * seconds, math.nan)
    look = Look(seconds, 0.1 * seconds, seconds, seconds)
    track = Track(START + seconds, look, seconds > 0, seconds, {"north-sea": shift})
    when = Pass(START, START + 200, START + 400, 40.0, START, START + 400)
    return SatellitePass(parse_elements(ELEMENTS, "x").elements[0], when, track, ())


def echo(second, channel="north-sea", doppler_hz=math.nan, sd_hz=math.nan):
    unix = START + second
    found = Echo(channel, unix - 0.5, 1.0, unix, 15.0, 3.0, doppler_hz=doppler_hz, doppler_sd_hz=sd_hz)
    return StoredEcho(7, 1, found)


def test_an_echo_while_both_see_it_is_tagged():
    ((number, tag),) = satellite_tags([made_pass()], [echo(205.0)])
    assert (number, tag.kind, tag.name) == (7, "satellite", "400000")
    assert tag.details == {"elevation_deg": 20.5, "predicted_doppler_hz": -100.0}


@pytest.mark.parametrize("other", [echo(50.0), echo(-1.0), echo(401.0), echo(205.0, channel="elsewhere")])
def test_others_are_not(other):
    assert list(satellite_tags([made_pass()], [other])) == []


@pytest.mark.parametrize(
    ("doppler_hz", "sd_hz", "tagged"),
    [(-100.0, 1.0, True), (-112.0, 1.0, True), (-300.0, 1.0, False), (0.0, 1.0, False), (-300.0, 70.0, True)],
)
def test_a_measured_shift_has_to_agree(doppler_hz, sd_hz, tagged):
    found = list(satellite_tags([made_pass()], [echo(205.0, doppler_hz=doppler_hz, sd_hz=sd_hz)]))
    assert len(found) == tagged
    assert all(tag.details["doppler_difference_hz"] == doppler_hz + 100 for _, tag in found)


def test_the_mean_shift_of_a_long_line_is_that_of_its_middle():
    # Twenty seconds along the curve, strongest at its end: the mean lies 200 Hz from the curve there.
    unix = START + 195.0
    found = Echo("north-sea", unix, 20.0, unix + 19.9, 40.0, 3.0, doppler_hz=-100.0, doppler_sd_hz=1.0)
    ((_, tag),) = satellite_tags([made_pass()], [StoredEcho(7, 1, found)])
    assert tag.details["doppler_difference_hz"] == 0.0


def test_the_tag_says_how_strong_the_reflection_should_be():
    one = made_pass()
    expected = dataclasses.replace(one, snr_db={"north-sea": 0.01 * (one.track.unix - START) - 30.0})
    ((_, tag),) = satellite_tags([expected], [echo(205.0)])
    assert tag.details["expected_snr_db"] == pytest.approx(-27.95, abs=0.06)
