"""Rates of channels over several nights: all of them, or hour by hour of the solar day."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from skyglint.activity.nights import CombinedRate, combined_rate
from skyglint.activity.rates import Rate
from skyglint.site import Role


@dataclass(frozen=True, slots=True)
class ChannelRate:
    """A channel's rate over several nights.

    Attributes
    ----------
    channel, role
        Name of the channel and its role.
    solar_hour
        Hour of local solar time, 0 to 23; -1 for whole nights.
    rate
        The nights together, each with the weight that its scatter leaves it.
    """

    channel: str
    role: Role
    solar_hour: int
    rate: CombinedRate


def over_nights(rows: Sequence[Rate]) -> list[ChannelRate]:
    """Return each channel's nights together, from its rates by night."""
    return _combined(rows, lambda row: -1)


def over_solar_hours(rows: Sequence[Rate]) -> list[ChannelRate]:
    """Return each channel's hours of the solar day, each over all days, from its rates by hour of solar time."""
    return _combined(rows, lambda row: math.floor(row.local_solar_hour) % 24)


def _combined(rows: Sequence[Rate], hour_of: Callable[[Rate], int]) -> list[ChannelRate]:
    groups: dict[tuple[int, str], list[Rate]] = {}
    for row in rows:
        groups.setdefault((hour_of(row), row.channel), []).append(row)
    return [
        ChannelRate(
            channel,
            own[0].role,
            hour,
            combined_rate([row.echoes for row in own], [max(row.coverage_s - row.busy_s, 0.0) / 3600.0 for row in own]),
        )
        for (hour, channel), own in sorted(groups.items(), key=lambda item: item[0][0])
    ]
