"""The site's horizon."""

import numpy as np
import pytest

from skyglint.errors import RequestError
from skyglint.plan.settings import plan_settings
from skyglint.plan.terrain import FLAT, load_terrain, read_terrain


def test_interpolates_through_north():
    terrain = read_terrain(["azimuth_deg,elevation_deg", "350,2", "10,4", "180,0"], "t")
    assert terrain.at([350, 0, 10, 180, 720]) == pytest.approx([2, 3, 4, 0, 3])
    assert np.all(FLAT.at([0, 123]) == -90)


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        ([], "no rows"),
        (["azimuth_deg,elevation_deg", "10,x"], "line 2"),
        (["azimuth,elevation", "10,2"], "columns azimuth_deg"),
        (["azimuth_deg,elevation_deg", "370,2"], "0 to 360"),
        (["azimuth_deg,elevation_deg", "10"], "line 2"),
    ],
)
def test_faults_name_the_line(lines, message):
    with pytest.raises(RequestError, match=message):
        read_terrain(lines, "t")


def test_settings_say_what_is_wrong(tmp_path):
    usual = {"radius_km": 500.0, "best": 5, "noise_figure_db": 6.0, "month": None, "targets": 2}
    usual["surface_height_m"] = 0.0
    assert plan_settings(environment="city", terrain=None, **usual).environment == "city"
    with pytest.raises(RequestError, match="residential"):
        plan_settings(environment="moon", terrain=None, **usual)
    with pytest.raises(RequestError, match="cannot be read"):
        load_terrain(tmp_path / "none.csv")
