"""What lies between the site and each transmitter: distance, heights, power, gain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skyglint.path.antenna import angle_between_deg, beam_gain_dbi
from skyglint.path.constants import EFFECTIVE_RADIUS_M, FloatArray
from skyglint.path.free_space import eirp_w
from skyglint.path.geodesy import geodesic
from skyglint.path.horizon import line_of_sight_m
from skyglint.site import Antenna, Site
from skyglint.transmitters.transmitter import Transmitter, columns

#: Where a list gives no height at all: an ordinary mast's (common practice).
ASSUMED_HEIGHT_M: Final = 150.0
#: What an antenna of the other polarisation still takes over ordinary ground, where reflections turn the field (common
#: practice: 10 to 15 dB less).
CROSS_POLARIZATION_DB: Final = -12.0
#: A null of a directional pattern on paper still leaks (common practice).
_LEAST_PATTERN: Final = 0.01
#: Grounds this close are one.
SAME_GROUND_M: Final = 20.0
#: A beam this wide has no pattern to doubt.
OPEN_BEAM_DEG: Final = 270.0
#: No transmitter stands lower above the ground around it (common practice): a lower one shows that the smooth surface
#: is not its ground.
LOWEST_TRANSMITTER_M: Final = 10.0
#: A transmitter on the spot still has an antenna's length between it and the site.
_NEAREST_M: Final = 10.0


@dataclass(frozen=True, slots=True)
class Links:
    """The links from transmitters to the site, one shape for all fields.

    Attributes
    ----------
    distance_m, azimuth_deg
        Along the ellipsoid, and the bearing from the site.
    frequency_hz
        Of each transmitter.
    transmitter_height_m, site_height_m
        Antennas above the smooth surface that stands for the ground.
    eirp_dbm
        Power over an isotropic antenna towards the site, as far as the site's antenna takes its polarisation.
    gain_dbi
        Of the site's antenna towards the transmitter, ground left out: the models hold the ground.
    vertical
        Whether most of the power is vertically polarised.
    height_known
        Whether the list gives the transmitter's height, and that stands clear of the surface.
    """

    distance_m: FloatArray
    azimuth_deg: FloatArray
    frequency_hz: FloatArray
    transmitter_height_m: FloatArray
    site_height_m: FloatArray
    eirp_dbm: FloatArray
    gain_dbi: FloatArray
    vertical: NDArray[np.bool_]
    height_known: NDArray[np.bool_]

    @property
    def beyond_horizon(self) -> NDArray[np.bool_]:
        """Whether a round Earth of standard refraction (8500 km, ITU-R P.526) hides the transmitter."""
        sight = line_of_sight_m(self.transmitter_height_m, self.site_height_m, EFFECTIVE_RADIUS_M)
        return np.asarray(self.distance_m > sight)

    def part(self, which: NDArray[np.intp] | NDArray[np.bool_]) -> Links:
        """Return some of the links."""
        return Links(**{field.name: getattr(self, field.name)[which] for field in fields(self)})


def links_of(
    site: Site, transmitters: Sequence[Transmitter], surface_height_m: float, pattern_depth: float = 1.0
) -> Links:
    """Return the links from a list's transmitters to a site.

    Parameters
    ----------
    surface_height_m
        Height above sea level of the smooth surface. A transmitter whose list states both its height above sea level
        and above its ground stands at least the second above the surface.
    pattern_depth
        How much of the site's antenna's pattern to believe: 1 all of it, 0 none (its gain all around).
    """
    table, place, antenna = columns(transmitters), site.site, site.antenna
    lines = geodesic(place.latitude_deg, place.longitude_deg, table.latitude_deg, table.longitude_deg)
    distance, azimuth, back = (
        np.atleast_1d(line) for line in (lines.distance_m, lines.azimuth_deg, lines.back_azimuth_deg)
    )
    stated = np.fmax(table.height_m - surface_height_m, table.antenna_height_m)
    known = stated >= LOWEST_TRANSMITTER_M
    pattern = np.array(
        [
            1.0 if one.pattern is None else max(float(one.pattern.relative_power(bearing)), _LEAST_PATTERN)
            for one, bearing in zip(transmitters, back, strict=True)
        ]
    )
    off_axis = angle_between_deg(azimuth, 0.0, antenna.azimuth_deg, antenna.elevation_deg)
    gain = beam_gain_dbi(off_axis, antenna.gain_dbi, antenna.beamwidth_deg)
    power_w = pattern * taken_power_w(antenna, table.erp_horizontal_w, table.erp_vertical_w)
    own_m = max(place.height_m + antenna.height_above_ground_m - surface_height_m, antenna.height_above_ground_m)
    return Links(
        distance_m=np.maximum(distance, _NEAREST_M),
        azimuth_deg=azimuth,
        frequency_hz=table.frequency_hz,
        transmitter_height_m=np.where(np.isnan(stated), ASSUMED_HEIGHT_M, np.maximum(stated, LOWEST_TRANSMITTER_M)),
        site_height_m=np.full(len(distance), own_m),
        eirp_dbm=10 * np.log10(eirp_w(power_w)) + 30,
        gain_dbi=antenna.gain_dbi + pattern_depth * (gain - antenna.gain_dbi),
        vertical=table.erp_vertical_w > table.erp_horizontal_w,
        height_known=known,
    )


def taken_power_w(antenna: Antenna, horizontal_w: FloatArray, vertical_w: FloatArray) -> FloatArray:
    """Return the part of both polarisations' powers that an antenna takes."""
    leak = 10 ** (CROSS_POLARIZATION_DB / 10)
    if antenna.polarization == "horizontal":
        return horizontal_w + leak * vertical_w
    if antenna.polarization == "vertical":
        return vertical_w + leak * horizontal_w
    return (horizontal_w + vertical_w) / 2


@dataclass(frozen=True, slots=True)
class View:
    """One way to see the links: how high the surface lies, and how much of the antenna's pattern to believe."""

    surface_height_m: float
    pattern_depth: float


def views_of(site: Site, surface_height_m: float | None) -> tuple[View, ...]:
    """Return the views that are equally probable before anything was measured.

    Where the observer does not state how high the plain around lies, it is the site's own ground or the sea, if the
    two differ. A pattern of two numbers is a rough model of an antenna in a garden: it is believed wholly, by half, or
    not at all.
    """
    ground = site.site.height_m
    unknown = (ground, 0.0) if abs(ground) > SAME_GROUND_M else (ground,)
    surfaces = unknown if surface_height_m is None else (surface_height_m,)
    depths = (1.0, 0.5, 0.0) if site.antenna.beamwidth_deg < OPEN_BEAM_DEG else (1.0,)
    return tuple(View(surface, depth) for surface in surfaces for depth in depths)
