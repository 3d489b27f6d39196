"""Which transmitter a level belongs to."""

import dataclasses

import pytest
from simulated_surveys import SITE

from skyglint.horizon.levels import Level
from skyglint.horizon.links import View, links_of, views_of
from skyglint.horizon.matching import match_levels, median_level
from skyglint.site import parse_site
from skyglint.transmitters.transmitter import Pattern, Transmitter

HERE = parse_site(SITE)


def mast(name, frequency_hz, north_deg, power_w=10_000.0, height_m=300.0, **more):
    """A mast due north of the site."""
    return Transmitter(name, frequency_hz, "fm", 54.6137 + north_deg, -2.9312, power_w, 0.0, height_m=height_m, **more)


MASTS = [
    mast("Alone", 90.0e6, 0.5),
    mast("Near", 91.0e6, 0.2, 50_000.0),
    mast("Far twin", 91.0e6, 1.8, 100.0),
    mast("East half", 92.0e6, 0.9),
    mast("West half", 92.0e6, 1.0),
    mast("Beyond", 93.0e6, 9.0),
    mast("Planned", 94.0e6, 0.5, status="planned"),
]


def survey(*levels):
    return match_levels(HERE, levels, MASTS, 40.0)


def level(frequency_hz, name="", level_dbm=-80.0, **more):
    return Level(0.0, frequency_hz, level_dbm, transmitter=name, **more)


def names(found):
    return [one.name for one in found.transmitters]


def test_a_name_or_an_only_candidate_or_a_dominant_one():
    assert names(survey(level(90.0e6))) == ["Alone"]
    assert names(survey(level(91.0e6))) == ["Near"]
    assert names(survey(level(91.0e6, "far TWIN"))) == ["Far twin"]
    assert names(survey(level(92.01e6, "West half"))) == ["West half"]


@pytest.mark.parametrize(
    ("one", "reason"),
    [
        (level(92.0e6), "several candidates"),
        (level(90.0e6, "Nobody"), "no transmitter of that name"),
        (level(90.0e6, "Near"), "no transmitter of that name on that frequency"),
        (level(93.0e6), "no transmitter on that frequency within 800 km"),
        (level(94.0e6), "no transmitter on that frequency"),
    ],
)
def test_what_belongs_to_nobody_is_left_out_and_counted(one, reason):
    found = survey(one)
    assert names(found) == []
    assert len(found.left_out) == 1
    assert reason in next(iter(found.left_out))


def test_a_transmitter_counts_once():
    found = survey(*(level(90.0e6, level_dbm=db) for db in (-80.0, -70.0, -81.0)))
    assert found.measured.level_dbm.tolist() == [-80.0]
    assert found.rows.tolist() == [3]


def test_a_mast_counts_once_by_its_middle_programme():
    masts = [mast(f"Programme {k}", 95e6 + 4e5 * k, 0.5, height_m=300.0) for k in range(3)]
    levels = [level(95e6 + 4e5 * k, level_dbm=db) for k, db in enumerate((-90.0, -60.0, -80.0))]
    found = match_levels(HERE, levels, [*masts, mast("Elsewhere", 99e6, 0.52)], 40.0)
    assert names(found) == ["Programme 2"]
    assert found.left_out == {"another programme of the same mast stands for it": 2}
    apart = match_levels(HERE, [*levels, level(99e6)], [*masts, mast("Elsewhere", 99e6, 0.52)], 40.0)
    assert names(apart) == ["Programme 2", "Elsewhere"]


def test_the_median_of_readings_and_limits():
    limit = level(90.0e6, level_dbm=-100.0, is_limit=True)
    assert median_level([limit, limit, level(90.0e6)]).is_limit
    mixed = median_level([limit, level(90.0e6, level_dbm=-95.0), level(90.0e6)])
    assert (mixed.level_dbm, mixed.is_limit) == (-95.0, False)


def test_an_unknown_height_costs_certainty():
    masts = [mast("Bare", 90.0e6, 0.5, height_m=float("nan"))]
    found = match_levels(HERE, [level(90.0e6, sd_db=2.0)], masts, 40.0)
    assert found.links.transmitter_height_m.tolist() == [150.0]
    assert found.measured.sd_db[0] == pytest.approx(6.325, abs=0.001)  # 2 and 6 dB in quadrature


def test_links_hold_pattern_polarisation_and_heights():
    plain, half = mast("a", 90e6, 0.5), mast("b", 90e6, 0.5, pattern=Pattern((0.0, 180.0), (1.0, 0.5)))
    upright = dataclasses.replace(plain, erp_horizontal_w=0.0, erp_vertical_w=10_000.0)
    tall = dataclasses.replace(plain, height_m=100.0, antenna_height_m=200.0)
    links = links_of(HERE, [plain, half, upright, tall], 40.0)
    # 10 kW over a dipole is 72.15 dBm EIRP; half the field southward is 6.02 dB less; the other polarisation 12 dB.
    assert links.eirp_dbm - links.eirp_dbm[0] == pytest.approx([0, -6.02, -12, 0], abs=0.01)
    assert links.eirp_dbm[0] == pytest.approx(72.15, abs=0.01)
    assert links.transmitter_height_m.tolist() == [260.0, 260.0, 260.0, 200.0]
    assert links.site_height_m[0] == 8.0
    # The meridian's half degree at 54.9 N is 55.66 km (Bessel's series; WGS 84).
    assert links.distance_m[0] == pytest.approx(55.66e3, rel=1e-3)


def test_views_are_what_the_observer_left_open():
    assert views_of(HERE, None) == (View(40.0, 1.0), View(0.0, 1.0))
    assert views_of(HERE, 15.0) == (View(15.0, 1.0),)
    narrow = HERE.model_copy(update={"antenna": HERE.antenna.model_copy(update={"beamwidth_deg": 65.0})})
    assert [view.pattern_depth for view in views_of(narrow, 0.0)] == [1.0, 0.5, 0.0]
    # Behind the beam: the declared gain where the pattern is not believed, half of the fall in between.
    whole, half, none = (links_of(narrow, [mast("a", 90e6, -0.5)], 40.0, depth).gain_dbi[0] for depth in (1, 0.5, 0))
    assert none == HERE.antenna.gain_dbi
    assert half == pytest.approx((whole + none) / 2)


def test_a_mast_below_the_surface_stands_on_its_own_ground():
    links = links_of(HERE, [mast("Low", 90e6, 0.5, height_m=20.0)], 40.0)
    assert links.transmitter_height_m.tolist() == [10.0]
    assert links.height_known.tolist() == [False]
