"""The plan as a whole: published losses, rules of the trade, honesty about neighbours, speed."""

import time
from dataclasses import replace

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from skyglint.path.geodesy import destination
from skyglint.plan.demo import demo_listing
from skyglint.plan.notes import ground_note
from skyglint.plan.planning import make_plan
from skyglint.plan.settings import PlanSettings
from skyglint.plan.terrain import TerrainHorizon
from skyglint.site import parse_site
from skyglint.transmitters.transmitter import Pattern, Transmitter

ONE = Transmitter("Mossgate", 98.3e6, "fm", 58.72, 6.05, 60_000.0, 0.0, height_m=720.0, source="x")


def at(site, bearing, kilometres, **changes):
    latitude, longitude = destination(site.site.latitude_deg, site.site.longitude_deg, bearing, kilometres * 1e3)
    return replace(ONE, latitude_deg=float(latitude), longitude_deg=float(longitude), **changes)


def only(site, *transmitters, **settings):
    return {one.name: one for one in make_plan(site, list(transmitters), PlanSettings(**settings)).candidates}


def test_distance_bearing_and_hidden_depth(site):
    found = only(site, ONE)["Mossgate"]
    line = Geodesic.WGS84.Inverse(54.61, -2.93, 58.72, 6.05)
    assert found.distance_km == pytest.approx(line["s12"] / 1e3, abs=1e-6)
    assert found.bearing_deg == pytest.approx(line["azi1"], abs=1e-6)
    # Smooth Earth: the shadow at d over a horizon at sqrt(2 a h), a(1/cos((d - d_h)/a) - 1), minus the top; by hand.
    for radius, hidden in ((6371e3 * 4 / 3, found.hidden_m), (6371e3, found.hidden_geometric_m)):
        beyond = line["s12"] - np.sqrt(2 * radius * 212.5)
        assert hidden == pytest.approx(radius * (1 / np.cos(beyond / radius) - 1) - 720, abs=0.5)


def test_losses_and_direct_level_add_up(site):
    found = only(site, ONE)["Mossgate"]
    # 20 log10(4 pi d f / c) by hand.
    free = 20 * np.log10(4 * np.pi * found.distance_km * 1e3 * 98.3e6 / 299_792_458)
    assert found.free_space_loss_db == pytest.approx(free, abs=1e-6)
    # Behind the horizon by hundreds of kilometres only scatter arrives: 60 kW over a dipole, the antenna's gain along
    # the horizon under its tilt, noise of a residential place and the galaxy (17.88 dB) in 200 kHz.
    off = np.radians(found.aim.elevation_deg)
    turn = np.radians(found.bearing_deg - found.aim.azimuth_deg)
    angle = np.degrees(np.arccos(np.cos(off) * np.cos(turn)))
    gain = 6 - 12 * (angle / 65) ** 2
    expected = 10 * np.log10(60e3) + 30 + 2.15 - found.troposcatter_loss_db + gain - (-173.975 + 17.88 + 53.01)
    assert found.direct_snr_db == pytest.approx(expected, abs=0.1)
    assert found.direct_snr_db < found.direct_snr_10_db < found.direct_snr_1_db


def test_rules_of_the_trade(site, site_text):
    # Common practice: FM is heard to some 60 or 70 km from ordinary masts; useful stations are 100 to 500 km away; the
    # antenna is tilted up some 35 degrees for them; most echoes come between midnight and noon.
    near = only(site, at(site, 90, 50, height_m=300.0))["Mossgate"]
    far = only(site, at(site, 90, 900, height_m=300.0))["Mossgate"]
    assert near.verdict == "heard"
    assert near.hidden_m < 0
    assert far.verdict in {"silent", "rustles"}
    # A low antenna: the ground's first null, which a higher one has in the middle of its view, is out of the way.
    low = parse_site(site_text.replace("height_above_ground_m = 2.5", "height_above_ground_m = 1.0"))
    for kilometres in (200, 300, 400, 500):
        found = only(low, at(site, 90, kilometres, height_m=120.0, erp_horizontal_w=5_000.0))["Mossgate"]
        assert 25 <= found.aim.elevation_deg <= 50
        assert abs((found.aim.azimuth_deg - 90 + 180) % 360 - 180) < 50
        # Most echoes between midnight and noon.
        assert found.echoes_per_h[:12].sum() > found.echoes_per_h[12:].sum()
    # And a usual set-up counts tens, not units or thousands, an hour.
    assert 10 < far.echoes_per_h.max() < 300


def test_a_station_under_its_neighbours_is_marked_down(site):
    alone = only(site, ONE)["Mossgate"]
    rival = at(site, 60, 600, name="Rival", erp_horizontal_w=60_000.0)
    local = at(site, 300, 15, name="Local", frequency_hz=98.4e6, erp_horizontal_w=100.0)
    shared = only(site, ONE, rival)["Mossgate"]
    drowned = only(site, ONE, local)["Mossgate"]
    assert alone.share_of_echoes == 1.0
    assert any("alone on its frequency" in reason for reason in alone.reasons)
    assert 0.2 < shared.share_of_echoes < 0.6
    assert any("Rival" in reason for reason in shared.reasons)
    assert shared.score < 0.7 * alone.score
    assert drowned.floor_rise_db > 20
    assert drowned.score < 0.1 * alone.score


def test_polarisation_power_and_noise_matter(site):
    base = only(site, ONE)["Mossgate"].echoes_per_h.mean()
    crossed = only(site, replace(ONE, erp_horizontal_w=0.0, erp_vertical_w=60_000.0))["Mossgate"].echoes_per_h.mean()
    weak = only(site, replace(ONE, erp_horizontal_w=600.0))["Mossgate"].echoes_per_h.mean()
    quiet = only(site, ONE, environment="rural")["Mossgate"].echoes_per_h.mean()
    assert crossed < 0.8 * base
    # A hundred times the power brings ten times the underdense echoes and at most a hundred times the overdense ones.
    assert 10 < base / weak < 101
    assert quiet > 1.3 * base


def test_a_pattern_counts_towards_the_site(site):
    back = float(Geodesic.WGS84.Inverse(58.72, 6.05, 54.61, -2.93)["azi1"]) % 360
    # Half the field towards the site is a quarter of the power: 6 dB less direct signal, but for a slightly other aim.
    pattern = Pattern((back, (back + 90) % 360, (back + 180) % 360), (0.5, 1.0, 1.0))
    plain, shaped = (only(site, replace(ONE, pattern=p))["Mossgate"] for p in (None, pattern))
    assert plain.direct_snr_db - shaped.direct_snr_db == pytest.approx(6.02, abs=0.6)
    assert shaped.echoes_per_h.mean() < plain.echoes_per_h.mean()


def test_a_carrier_is_found_with_less_power(site):
    fm, carrier = ONE, replace(ONE, kind="carrier", name="Tone")
    assert only(site, carrier)["Tone"].echoes_per_h.mean() > 1.5 * only(site, fm)["Mossgate"].echoes_per_h.mean()


def test_month_and_terrain(site):
    march, september = (only(site, ONE, month=m)["Mossgate"].echoes_per_h.sum() for m in (3, 9))
    assert september > 1.3 * march
    wall = TerrainHorizon((0.0, 90.0, 180.0, 270.0), (15.0, 15.0, 15.0, 15.0))
    walled = only(site, ONE, terrain=wall)["Mossgate"]
    open_ = only(site, ONE)["Mossgate"]
    assert walled.hidden_m > open_.hidden_m + 100_000
    assert walled.direct_snr_db < open_.direct_snr_db + 0.1
    assert walled.layer.area_km2 < 0.5 * open_.layer.area_km2


def test_a_high_plain_is_asked_for_and_can_be_stated(site_text):
    text = site_text.replace("height_m = 210", "height_m = 1600")
    site = parse_site(text)
    assert "1600 m above the smooth ground" in ground_note(1600.0, 0.0)
    assert ground_note(1600.0, 1500.0) == ""
    station = at(site, 90, 250, height_m=1750.0)
    # From a peak 1600 m above the sea the horizon is 165 km away, from a plain at that height 10 km.
    assert only(site, station)["Mossgate"].hidden_m < 0
    assert only(site, station, surface_height_m=1590.0)["Mossgate"].hidden_m > 2000


def test_south_of_the_equator_across_the_date_line(site_text):
    text = site_text.replace("54.61", "-17.5").replace("-2.93", "179.2")
    site = parse_site(text)
    found = only(site, at(site, 80, 700))["Mossgate"]
    assert found.distance_km == pytest.approx(700, abs=0.001)
    assert found.transmitter.longitude_deg < -170
    assert found.echoes_per_h[:12].sum() > found.echoes_per_h[12:].sum()
    assert found.score > 0


def test_near_the_pole(site_text):
    site = parse_site(site_text.replace("54.61", "89.9"))
    assert only(site, at(site, 10, 600))["Mossgate"].score > 0


def test_nothing_in_reach_is_an_empty_plan(site):
    assert make_plan(site, [], PlanSettings()).candidates == ()
    assert make_plan(site, [replace(ONE, latitude_deg=-30.0)], PlanSettings()).candidates == ()
    assert make_plan(site, [replace(ONE, status="planned")], PlanSettings()).candidates == ()


def test_beyond_the_radius_is_no_candidate_but_still_a_neighbour(site):
    rival = at(site, 30, 1650, name="Rival", erp_horizontal_w=1e6)
    found = only(site, ONE, rival)
    assert set(found) == {"Mossgate"}
    assert found["Mossgate"].neighbours[0].name == "Rival"


def test_on_the_very_spot(site):
    found = only(site, at(site, 0, 0, height_m=230.0))["Mossgate"]
    assert found.verdict == "heard"
    assert found.score < 5


def test_the_demo_list_holds_what_it_should():
    listing = demo_listing()
    assert not listing.rejections
    assert 36 <= len(listing.transmitters) <= 60
    assert {one.kind for one in listing.transmitters} == {"fm", "carrier"}


def test_the_rough_order_loses_none_of_the_best(site):
    generator = np.random.default_rng(1)
    count = 90
    latitude, longitude = generator.uniform(46, 64, count), generator.uniform(-12, 16, count)
    frequency = 87.6e6 + 1e5 * generator.integers(0, 60, count)
    power, height = 10 ** generator.uniform(2, 5.2, count), generator.uniform(50, 900, count)
    crowd = [
        Transmitter(f"T{k}", float(frequency[k]), "fm", float(latitude[k]), float(longitude[k]), float(power[k]), 0.0,
                    height_m=float(height[k]))
        for k in range(count)
    ]  # fmt: skip
    whole = [one.name for one in make_plan(site, crowd, PlanSettings(best=count)).candidates]
    rough = {one.name for one in make_plan(site, crowd, PlanSettings(best=25)).candidates}
    assert set(whole[:10]) <= rough


def test_thirty_thousand_transmitters_take_seconds(site):
    generator = np.random.default_rng(4)
    count = 30_000
    latitude, longitude = generator.uniform(42, 66, count), generator.uniform(-12, 25, count)
    frequency = 87.6e6 + 1e5 * generator.integers(0, 204, count)
    power, height = 10 ** generator.uniform(1.5, 5.2, count), generator.uniform(50, 900, count)
    crowd = [
        Transmitter(f"T{k}", float(frequency[k]), "fm", float(latitude[k]), float(longitude[k]), float(power[k]), 0.0,
                    height_m=float(height[k]))
        for k in range(count)
    ]  # fmt: skip
    start = time.process_time()
    found = make_plan(site, crowd, PlanSettings())
    assert time.process_time() - start < 10
    assert len(found.candidates) == 50
