"""The page of an aim: the sky with echoes, beam and lobes, in one HTML file that needs nothing else."""

from __future__ import annotations

import numpy as np
from markupsafe import Markup

from skyglint.plan.aim_report import AimReport
from skyglint.report import numbers, tokens
from skyglint.report.figures.rulers import height_curve
from skyglint.report.figures.sky_chart import SkyCell, sky_chart
from skyglint.report.plan_page import environment


def render_aim(report: AimReport) -> str:
    """Return the page as HTML."""
    template = environment().get_template("aim.html.jinja")
    return template.render(
        report=report,
        sentences=aim_sentences(report),
        sky=_sky(report),
        heights=height_curve(
            "part of the best count by antenna height",
            [float(h) for h in report.heights_m],
            [float(m) for m in report.height_merit],
            report.site.antenna.height_above_ground_m,
        ),
        tokens=Markup(tokens.css_variables()),
    )


def aim_sentences(report: AimReport) -> tuple[str, ...]:
    """Return the answer in sentences, as page and terminal show it."""
    aim, antenna = report.aim, report.site.antenna
    names = ", ".join(report.channels)
    found = [f"{names}: point to {aim.azimuth_deg:.0f}° from true north, {aim.elevation_deg:.0f}° up."]
    if report.magnetic_azimuth_deg is not None:
        found.append(
            f"By the compass {report.magnetic_azimuth_deg:.0f}°, with the declination that you gave, "
            f"{report.declination_deg:+.1f}° (east positive).".replace("-", numbers.MINUS)
        )
    found.append(
        f"Mean gain over the part of the sky that counts: {numbers.quantity(report.gain_dbi, 'dBi', 1)}, the ground's "
        f"reflection included; about {numbers.fixed(report.echoes_total_per_h)} echoes an hour, as the mean of day and "
        "year."
    )
    found.append(_flat(report))
    present = 100 * report.present_keeps
    found.append(
        f"The antenna as the site file has it ({antenna.azimuth_deg:.0f}°, {antenna.elevation_deg:.0f}° up) collects "
        f"{numbers.quantity(present, '%')} of that."
    )
    found.append(_height(report))
    return tuple(found)


def _flat(report: AimReport) -> str:
    lost_db = report.gain_dbi - report.flat_gain_dbi
    kept = numbers.quantity(100 * report.flat_keeps, "%")
    if lost_db > 0.05:
        return f"Left at 0° elevation it would lose {numbers.quantity(lost_db, 'dB', 1)} and keep {kept} of the echoes."
    return (
        f"Left at 0° elevation it would lose nothing there ({numbers.quantity(-lost_db, 'dB', 1)} more gain, {kept} of "
        "the echoes), but take more of direct signals and of the neighbourhood."
    )


def _height(report: AimReport) -> str:
    antenna = report.site.antenna
    lobes = ", ".join(f"{angle:.0f}°" for angle in report.lobes_deg) or "none"
    nulls = ", ".join(f"{angle:.0f}°" for angle in report.nulls_deg) or "none"
    best = numbers.quantity(report.best_height_m, "m", 2)
    return (
        f"At {numbers.quantity(antenna.height_above_ground_m, 'm', 1)} above ground a horizontal antenna has its lobes "
        f"at {lobes} and nulls at {nulls}; the lowest height that collects 95 % of what the best one does is {best}."
    )


def _sky(report: AimReport) -> Markup:
    layer = report.layer
    rings = np.unique(layer.distance_m.round(1))
    spokes = layer.distance_m.size // rings.size
    elevation = layer.elevation_deg.reshape(spokes, rings.size)
    middle = (elevation[:, 1:] + elevation[:, :-1]) / 2
    high = np.concatenate([np.full((spokes, 1), 90.0), middle], axis=1).ravel()
    low = np.concatenate([middle, 2 * elevation[:, -1:] - middle[:, -1:]], axis=1).ravel()
    half = 180.0 / spokes
    # Echoes per square degree of the chart, softened by its root so that the faint half stays visible.
    density = report.echoes_per_h / np.maximum((high - low) * 2 * half * np.cos(np.radians((high + low) / 2)), 1e-9)
    share = np.sqrt(density / (float(density.max()) or 1.0))
    cells = [
        SkyCell(float(layer.azimuth_deg[k]) - half, float(layer.azimuth_deg[k]) + half, max(float(low[k]), 0.0),
                float(high[k]), float(share[k]))
        for k in np.flatnonzero(share > 0)
    ]  # fmt: skip
    return sky_chart(
        "the sky by azimuth and elevation with expected echoes, beam and ground lobes",
        cells,
        (report.aim.azimuth_deg, report.aim.elevation_deg),
        report.site.antenna.beamwidth_deg,
        [float(a) for a in report.lobes_deg],
        [float(a) for a in report.nulls_deg],
    )
