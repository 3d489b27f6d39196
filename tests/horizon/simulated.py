"""A site and the files of a simulated survey, for the tests of the commands."""

from skyglint.station.accuracy.surveys import simulated

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
