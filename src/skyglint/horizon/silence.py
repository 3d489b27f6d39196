"""Why you hear nothing: the direct signal of each target over a round Earth and a plane, against what was received."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from skyglint.horizon.links import links_of
from skyglint.horizon.models import free_levels_dbm, plane_levels_dbm, round_levels
from skyglint.path.constants import EFFECTIVE_RADIUS_M
from skyglint.path.noise import Environment, noise_power_dbm
from skyglint.site import Channel, Site
from skyglint.store.records import FloorHistory
from skyglint.transmitters.transmitter import Transmitter

#: Parts of the time for which levels over the round Earth are given, percent.
TIME_PERCENTS: Final = (50.0, 10.0, 1.0)
#: A steady signal is told from the noise where it raises it by this (common practice).
LEAST_RISE_DB: Final = 1.0
#: How well each way of putting the receiver's scale into dBm is known (common practice).
NOISE_SCALE_SD_DB: Final = 8.0
REFERENCE_SCALE_SD_DB: Final = 4.0
STATED_SCALE_SD_DB: Final = 2.0


@dataclass(frozen=True, slots=True)
class Scale:
    """The power at the receiver's input that fills the converter, and how it is known.

    Attributes
    ----------
    full_scale_dbm, sd_db
        The power and its standard error.
    how
        In words.
    """

    full_scale_dbm: float
    sd_db: float
    how: str


@dataclass(frozen=True, slots=True)
class Silence:
    """One target's direct signal, expected and received.

    Attributes
    ----------
    channel, frequency_hz, distance_km, bearing_deg
        Which.
    free_dbm
        What free space would leave of it.
    round_dbm
        Over a round Earth of standard refraction, in 50, 10 and 1 % of the time.
    plane_dbm
        Over a plane.
    noise_dbm
        The channel's noise, of the guards or expected.
    measured_dbm, sd_db, is_limit
        Steady signal received, or the upper limit of it; NaN where nothing was measured.
    """

    channel: str
    frequency_hz: float
    distance_km: float
    bearing_deg: float
    free_dbm: float
    round_dbm: tuple[float, ...]
    plane_dbm: float
    noise_dbm: float
    measured_dbm: float = math.nan
    sd_db: float = math.nan
    is_limit: bool = False

    @property
    def sentence(self) -> str:
        """What the numbers say, no more."""
        over_plane, over_round = (level - self.noise_dbm for level in (self.plane_dbm, self.round_dbm[0]))
        expected = (
            f"Over a plane it would stand {_over(over_plane)} the noise, over a round Earth {_over(over_round)} it "
            "half of the time."
        )
        if math.isnan(self.measured_dbm):
            return f"{expected} It was not measured here."
        if self.is_limit:
            short = self.plane_dbm - self.measured_dbm
            return (
                f"{expected} No steady signal was found: at least {short:.0f} dB less than over a plane."
                if (short > 0)
                else f"{expected} No steady signal was found, which tells nothing here."
            )
        return (
            f"{expected} A steady signal was found {_over(self.measured_dbm - self.noise_dbm)} the noise; on a shared "
            "frequency it may be another station's."
        )


def transmitter_of(channel: Channel, polarization: str) -> Transmitter | None:
    """Return the transmitter that a channel declares, in the antenna's own polarisation; ``None`` without its power."""
    if channel.latitude_deg is None or channel.longitude_deg is None or channel.power_w is None:
        return None
    vertical = {"horizontal": 0.0, "vertical": 1.0}.get(polarization, 0.5)
    return Transmitter(
        name=channel.name,
        frequency_hz=channel.frequency_hz,
        kind=channel.kind,
        latitude_deg=channel.latitude_deg,
        longitude_deg=channel.longitude_deg,
        erp_horizontal_w=channel.power_w * (1 - vertical),
        erp_vertical_w=channel.power_w * vertical,
        height_m=math.nan if channel.height_m is None else channel.height_m,
        rds_pi=channel.rds_pi or "",
        source="site file",
    )


def median_floors_dbfs(floors: Sequence[FloorHistory]) -> dict[str, float]:
    """Return each channel's median floor relative to full scale; channels without one are left out."""
    found = {}
    for history in floors:
        known = history.floor_db[np.isfinite(history.floor_db)]
        if len(known):
            found[history.channel] = float(np.median(known))
    return found


def silences(
    site: Site,
    surface_height_m: float,
    floors_dbfs: Mapping[str, float],
    *,
    full_scale_dbm: float | None = None,
    environment: Environment = "residential",
    noise_figure_db: float = 6.0,
) -> tuple[tuple[Silence, ...], Scale | None]:
    """Return every target's direct signal, and how the receiver's scale was found.

    Parameters
    ----------
    floors_dbfs
        Median floor of each channel relative to full scale; empty when nothing was recorded.
    full_scale_dbm
        Where the observer measured it.
    environment, noise_figure_db
        Of the noise that is expected where no guard channel was recorded (ITU-R P.372).
    """
    known = [(one, sender) for one in site.channel if (sender := transmitter_of(one, site.antenna.polarization))]
    targets = [(one, sender) for one, sender in known if one.role == "target"]
    if not targets:
        return (), None

    def expected_noise_dbm(channel: Channel) -> float:
        return float(noise_power_dbm(channel.frequency_hz, channel.bandwidth_hz, environment, noise_figure_db))

    scale = find_scale(site, surface_height_m, floors_dbfs, full_scale_dbm, expected_noise_dbm(targets[0][0]))
    links = links_of(site, [sender for _, sender in targets], surface_height_m)
    levels = round_levels(links, [EFFECTIVE_RADIUS_M])
    spread = np.stack([levels.total_dbm(time_percent=percent)[:, 0] for percent in TIME_PERCENTS], axis=1)
    plane, free = plane_levels_dbm(links), free_levels_dbm(links)
    rows = []
    for k, (channel, _) in enumerate(targets):
        quiet = _noise_dbfs(site, floors_dbfs, channel)
        level = _received(channel, floors_dbfs, quiet, scale)
        noise = expected_noise_dbm(channel) if scale is None or quiet is None else quiet + scale.full_scale_dbm
        rows.append(
            Silence(
                channel=channel.name,
                frequency_hz=channel.frequency_hz,
                distance_km=float(links.distance_m[k]) / 1e3,
                bearing_deg=float(links.azimuth_deg[k]),
                free_dbm=float(free[k]),
                round_dbm=tuple(float(level) for level in spread[k]),
                plane_dbm=float(plane[k]),
                noise_dbm=noise,
                measured_dbm=level[0],
                sd_db=math.nan if scale is None else scale.sd_db,
                is_limit=level[1],
            )
        )
    return tuple(rows), scale


def find_scale(
    site: Site,
    surface_height_m: float,
    floors_dbfs: Mapping[str, float],
    full_scale_dbm: float | None,
    expected_noise_dbm: float,
) -> Scale | None:
    """Return the receiver's scale: as stated, else from reference stations, else from the quietest guard's noise.

    References count where both models agree on their level within 3 dB, so that the scale favours neither.
    """
    if full_scale_dbm is not None:
        return Scale(full_scale_dbm, STATED_SCALE_SD_DB, "as stated by the observer")
    senders = [
        (one.name, sender)
        for one in site.channel
        if one.role == "reference" and one.name in floors_dbfs
        if (sender := transmitter_of(one, site.antenna.polarization))
    ]
    if senders:
        links = links_of(site, [sender for _, sender in senders], surface_height_m)
        plane, around = plane_levels_dbm(links), round_levels(links, [EFFECTIVE_RADIUS_M]).total_dbm()[:, 0]
        agreed = [k for k in range(len(senders)) if abs(plane[k] - around[k]) <= 3.0]
        if agreed:
            full = float(np.median([around[k] - floors_dbfs[senders[k][0]] for k in agreed]))
            names = ", ".join(senders[k][0] for k in agreed)
            return Scale(full, REFERENCE_SCALE_SD_DB, f"from the level expected of {names}, on which both models agree")
    guards = [floors_dbfs[one.name] for one in site.channel if one.role == "guard" and one.name in floors_dbfs]
    if guards:
        full = expected_noise_dbm - min(guards)
        return Scale(full, NOISE_SCALE_SD_DB, "from the noise that ITU-R P.372 expects in the quietest guard channel")
    return None


def _received(
    channel: Channel, floors_dbfs: Mapping[str, float], quiet_dbfs: float | None, scale: Scale | None
) -> tuple[float, bool]:
    """Return the steady signal of a channel in dBm and whether it is only an upper limit."""
    if scale is None or quiet_dbfs is None or channel.name not in floors_dbfs:
        return math.nan, False
    rise_db = floors_dbfs[channel.name] - quiet_dbfs
    least = 10 * math.log10(10 ** (LEAST_RISE_DB / 10) - 1)
    if rise_db < LEAST_RISE_DB:
        return quiet_dbfs + least + scale.full_scale_dbm, True
    return quiet_dbfs + 10 * math.log10(10 ** (rise_db / 10) - 1) + scale.full_scale_dbm, False


def _noise_dbfs(site: Site, floors_dbfs: Mapping[str, float], channel: Channel) -> float | None:
    """Return the quietest guard's floor, in the channel's bandwidth."""
    quiet = [
        floors_dbfs[one.name] + 10 * math.log10(channel.bandwidth_hz / one.bandwidth_hz)
        for one in site.channel
        if one.role == "guard" and one.name in floors_dbfs
    ]
    return min(quiet, default=None)


def _over(decibels: float) -> str:
    return f"{decibels:.0f} dB over" if decibels >= 0 else f"{-decibels:.0f} dB under"
