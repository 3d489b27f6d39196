"""A carrier's Doppler shifts through the day: as drift of the trails where the path is known, in hertz where not."""

from __future__ import annotations

import math

import numpy as np
from markupsafe import Markup

from skyglint.activity.wind import HourlyDoppler, wind_by_hour
from skyglint.report.figures import points
from skyglint.report.numbers import counted, measured
from skyglint.site import Channel

#: Fewest hours of the day with a mean shift that are worth a figure.
FEWEST_HOURS = 3

_HOURS = [(hour, f"{hour}\u202fh") for hour in (0, 6, 12, 18, 24)]


def told(channel: Channel, doppler: HourlyDoppler) -> bool:
    """Tell whether a channel is a carrier whose shifts tell some hours of the day."""
    return channel.kind == "carrier" and int(np.isfinite(doppler.mean_hz).sum()) >= FEWEST_HOURS


def doppler_figure(channel: Channel, doppler: HourlyDoppler, distance_km: float) -> Markup:
    """Return mean shifts by local solar hour with their standard errors, less the mean of the day where as drift."""
    if math.isnan(distance_km):
        unit, value, sd = "Hz", doppler.mean_hz, doppler.mean_sd_hz
    else:
        wind = wind_by_hour(doppler, channel.frequency_hz, distance_km)
        unit, value, sd = "m/s", wind.speed_m_s, wind.speed_sd_m_s
    marks = [
        points.Point(
            float(hour), float(best), float(best - error), float(best + error),
            f"{hour - 0.5:.0f} to {hour + 0.5:.0f} h: {measured(float(best), float(error), unit)}, {count} echoes",
        )
        for hour, best, error, count in zip(doppler.hour, value, sd, doppler.echoes, strict=True)
        if math.isfinite(best)
    ]  # fmt: skip
    label = f"Doppler shifts of {channel.name} by local solar hour: {'; '.join(mark.words for mark in marks)}"
    return points.points_chart(label, points.Axis(0.0, 24.0, _HOURS, "local solar time"), unit, marks)


def doppler_note(doppler: HourlyDoppler, distance_km: float) -> str:
    """Return what the figure shows, from how many echoes."""
    echoes = counted(int(doppler.echoes.sum()), "echo", "echoes")
    if math.isnan(distance_km):
        return (
            f"Mean shifts of {echoes} with standard errors. The transmitter's place is not stated, so that no drift "
            "can be told; the offsets of transmitter and receiver are in them."
        )
    return (
        f"Mean shifts of {echoes} with standard errors, as drift of trails over the path's middle at 95\u202fkm along "
        "the bisector of the two rays, positive towards the ends. The day's mean is taken off: it holds the offsets of "
        "transmitter and receiver."
    )
