import math

import pytest

from skyglint.activity.coverage import segments_of
from skyglint.report.lanes import NOT_RECORDED, channels_of, lost_spans, way_to
from skyglint.site import Channel, SitePlace
from skyglint.store import CoverageSpan, Store


def place(latitude_deg=54.6137, longitude_deg=-2.9312):
    return SitePlace(
        name="Harrow Fell",
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        height_m=210.0,
        timezone="Europe/London",
    )


def channel(**more):
    return Channel(name="north-sea", role="target", kind="fm", frequency_hz=98.3e6, **more)


def lost(*spans, span=(0.0, 100.0)):
    coverage = [CoverageSpan("a", *entry) for entry in spans]
    found = lost_spans("a", coverage, segments_of(coverage, "a"), span)
    return [(entry.start_unix, entry.end_unix, entry.reason) for entry in found]


def test_what_no_recording_covers_is_lost_too():
    assert lost((10.0, 40.0, "watched", ""), (40.0, 50.0, "lost", "receiver lost"), (50.0, 90.0, "watched", "")) == [
        (0.0, 10.0, NOT_RECORDED),
        (40.0, 50.0, "receiver lost"),
        (90.0, 100.0, NOT_RECORDED),
    ]


def test_what_another_recording_watched_is_not_lost():
    assert lost((0.0, 60.0, "lost", "out of band"), (20.0, 100.0, "watched", "")) == [(0.0, 20.0, "out of band")]


def test_each_moment_is_lost_once():
    found = lost((0.0, 60.0, "lost", "receiver lost"), (40.0, 100.0, "lost", "out of band"))
    assert found == [(0.0, 60.0, "receiver lost"), (60.0, 100.0, "out of band")]


def test_rounding_between_recordings_is_no_loss():
    assert lost((0.0, 50.0, "watched", ""), (50.0002, 100.0, "watched", "")) == []


def test_distance_and_bearing_are_those_of_a_published_geodesic():
    # C. Karney's worked example for GeographicLib: 40.6, -73.8 to 49.01666667, 2.55 is 5,853,226 m at 53.47022 deg.
    home = place(40.6, -73.8)
    distance_km, bearing_deg = way_to(home, channel(latitude_deg=49.01666667, longitude_deg=2.55))
    assert distance_km == pytest.approx(5853.226, abs=0.001)
    assert bearing_deg == pytest.approx(53.47022, abs=1e-4)


def test_the_way_gives_nothing_away_beyond_the_rounded_place():
    far = channel(latitude_deg=58.72, longitude_deg=6.05)
    ways = {way_to(place(*exact), far) for exact in ((54.6137, -2.9312), (54.5602, -2.9499), (54.6499, -2.8501))}
    assert len(ways) == 1


def test_a_transmitter_without_a_place_has_no_distance():
    assert all(math.isnan(number) for number in way_to(place(), channel()))


def test_targets_come_first_and_guards_last(outage_store):
    with Store.open(outage_store) as store:
        roles = [entry.role for entry in channels_of(store, store.coverage())]
    assert roles == ["target", "target", "target", "reference", "guard"]
