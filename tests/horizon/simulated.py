"""An independent simulator of surveys: formulas written down again from their sources, nothing of the models tested.

Sphere: free space (ITU-R P.525), diffraction by the first term of ITU-R P.526-15 sec. 3.1 beyond the horizon and its
sec. 3.2 within, troposcatter by ITU-R P.452-18 eq. (45) beyond 10 mrad. Plane: 40 log d - 20 log(h1 h2), the plane-
Earth loss, where it exceeds free space. Horizontal polarisation over average land.
"""

from dataclasses import dataclass

import numpy as np

from skyglint.horizon.likelihood import Measured
from skyglint.horizon.links import Links

LIGHT_KM_MHZ = 299.792458
EARTH_KM = 6371.0


@dataclass
class Truth:
    """A made-up survey."""

    links: Links
    measured: Measured


def free_space(d_km, f_mhz):
    return 20 * np.log10(4 * np.pi * d_km * 1e3 * f_mhz / LIGHT_KM_MHZ)


def first_term(d, h1, h2, f, a):
    k = 0.36 * (a * f) ** (-1 / 3) * ((22 - 1) ** 2 + (18000 * 0.003 / f) ** 2) ** -0.25
    beta = (1 + 1.6 * k**2 + 0.67 * k**4) / (1 + 4.5 * k**2 + 1.53 * k**4)
    x = 2.188 * beta * f ** (1 / 3) * a ** (-2 / 3) * d
    fx = np.where(x >= 1.6, 11 + 10 * np.log10(x) - 17.6 * x, -20 * np.log10(x) - 5.6488 * x**1.425)
    total = fx
    for h in (h1, h2):
        b = beta * 9.575e-3 * beta * f ** (2 / 3) * a ** (-1 / 3) * h
        high = 17.6 * np.sqrt(np.maximum(b - 1.1, 1e-9)) - 5 * np.log10(np.maximum(b - 1.1, 1e-9)) - 8
        low = 20 * np.log10(b + 0.1 * b**3)
        total = total + np.maximum(np.where(b > 2, high, low), 2 + 20 * np.log10(k))
    return -total


def diffraction(d, h1, h2, f, a):
    beyond = first_term(d, h1, h2, f, a)
    sight = np.sqrt(2 * a) * (np.sqrt(h1 / 1e3) + np.sqrt(h2 / 1e3))
    c, m = (h1 - h2) / (h1 + h2), 250 * d**2 / (a * (h1 + h2))
    angle = np.arccos(np.clip(1.5 * c * np.sqrt(3 * m / (m + 1) ** 3), -1, 1))
    b = 2 * np.sqrt((m + 1) / (3 * m)) * np.cos(np.pi / 3 + angle / 3)
    d1 = d * (1 + b) / 2
    d2 = d - d1
    clear = ((h1 - 500 * d1**2 / a) * d2 + (h2 - 500 * d2**2 / a) * d1) / d
    need = 17.456 * np.sqrt(np.maximum(d1 * d2, 1e-9) * (LIGHT_KM_MHZ / f) / d)
    grazing = first_term(d, h1, h2, f, 500 * (d / (np.sqrt(h1) + np.sqrt(h2))) ** 2)
    within = np.where((clear > need) | (grazing < 0), 0.0, (1 - clear / need) * grazing)
    return np.where(d < sight, within, beyond)


def scattered(d, h1, h2, f, a):
    theta = 1e3 * d / a - 1e3 * (np.sqrt(2 * h1 / 1e3 / a) + np.sqrt(2 * h2 / 1e3 / a))
    angle = np.maximum(theta, 0.1)
    later = 0.18 * 320 - 0.23 * 39 + 22 * np.log10(f) + 35 * np.log10(angle) + 17 * np.log10(d) + 0.07
    ghz = f / 1e3
    earlier = 190 + 25 * np.log10(ghz) - 2.5 * np.log10(ghz / 2) ** 2 + 20 * np.log10(d) + 0.573 * angle - 48 + 0.07
    return np.where(theta > 0, np.maximum(later, earlier), 1000.0)


def simulated(rng, factor, *, stations=60, near_km=10.0, far_km=300.0, scatter=True, floor_dbm=None, error_db=6.0):
    """Return a survey over a sphere of 6371 km times ``factor``, or over a plane where it is None.

    Level errors of 6 dB; one in ten has a mountain in the way or a wrong power in the list; the calibration is off by
    a normal error of 3 dB; troposcatter is 4 dB (standard deviation) stronger or weaker than its formula.
    """
    d, f = rng.uniform(near_km, far_km, stations), rng.uniform(88.0, 108.0, stations)
    h1, h2 = np.exp(rng.uniform(np.log(60), np.log(500), stations)), 8.0
    erp_w, gain = 10 ** rng.uniform(2.5, 5, stations), 5.0
    eirp = 10 * np.log10(erp_w) + 30 + 2.15
    if factor is None:
        loss = np.maximum(40 * np.log10(d * 1e3) - 20 * np.log10(h1 * h2), free_space(d, f))
        level = eirp + gain - loss
    else:
        a = factor * EARTH_KM
        level = eirp + gain - free_space(d, f) - diffraction(d, h1, h2, f, a)
        if scatter:
            air = np.minimum(eirp + gain - scattered(d, h1, h2, f, a), eirp + gain - free_space(d, f))
            level = 10 * np.log10(10 ** (level / 10) + 10 ** ((air + rng.normal(0, 4)) / 10))
    level = level + rng.normal(0, 3) + rng.normal(0, error_db, stations)
    wild = rng.random(stations) < 0.1
    mountain, power = -rng.uniform(10, 35, stations), rng.choice([-10.0, 10.0, 20.0], stations)
    level = np.where(wild, level + np.where(rng.random(stations) < 0.5, mountain, power), level)
    is_limit = np.zeros(stations, dtype=bool) if floor_dbm is None else level < floor_dbm
    level = np.where(is_limit, floor_dbm, level) if floor_dbm is not None else level
    same = np.full(stations, 1.0)
    links = Links(
        distance_m=d * 1e3,
        azimuth_deg=0 * same,
        frequency_hz=f * 1e6,
        transmitter_height_m=h1,
        site_height_m=h2 * same,
        eirp_dbm=eirp,
        gain_dbi=gain * same,
        vertical=np.zeros(stations, dtype=bool),
        height_known=np.ones(stations, dtype=bool),
    )
    return Truth(links, Measured(level, error_db * same, is_limit))


SITE = """
[site]
name = "Harrow Fell"
latitude_deg = 54.6137
longitude_deg = -2.9312
height_m = 40
timezone = "Europe/London"

[antenna]
azimuth_deg = 46
elevation_deg = 0
gain_dbi = 0.0
beamwidth_deg = 360
height_above_ground_m = 8.0
polarization = "horizontal"

[receiver]
source = "rtltcp://127.0.0.1:1234"
center_frequency_hz = 98_000_000
sample_rate_hz = 2_400_000
gain_db = 30.0
correction_ppm = 0.0

[[channel]]
name = "north-sea"
role = "target"
kind = "fm"
frequency_hz = 98_300_000
latitude_deg = 58.72
longitude_deg = 6.05
power_w = 60_000
height_m = 720

[[channel]]
name = "quiet"
role = "guard"
kind = "fm"
frequency_hz = 98_700_000
"""


def write_case(folder, rng, factor, **options):
    """Write site, list and levels of a simulated survey as files, the places by geographiclib; return their paths."""
    from geographiclib.geodesic import Geodesic

    truth = simulated(rng, factor, **options)
    site, listed, levels = folder / "site.toml", folder / "list.csv", folder / "levels.csv"
    site.write_text(SITE, encoding="utf-8")
    rows, measured = [], []
    for k, metres in enumerate(truth.links.distance_m):
        end = Geodesic.WGS84.Direct(54.6137, -2.9312, rng.uniform(0, 360), metres)
        frequency = 87_600_000 + 100_000 * k
        watts = 10 ** ((truth.links.eirp_dbm[k] - 30 - 2.15) / 10)
        height = truth.links.transmitter_height_m[k] + 40
        rows.append(
            f"Mast {k:02},{frequency},fm,{end['lat2']:.6f},{end['lon2']:.6f},{watts:.1f},{height:.1f},horizontal"
        )
        level = truth.measured.level_dbm[k] - truth.links.gain_dbi[k]
        measured.append(f"2026-08-13T12:00:00Z,{frequency},{level:.2f},6,Mast {k:02},{int(truth.measured.is_limit[k])}")
    head = "name,frequency_hz,kind,latitude_deg,longitude_deg,power_w,height_m,polarization"
    listed.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    head = "start_utc,frequency_hz,level_dbm,level_sd_db,transmitter,limit"
    levels.write_text("\n".join([head, *measured]) + "\n", encoding="utf-8")
    return site, listed, levels
