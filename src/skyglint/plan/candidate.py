"""One transmitter as the plan judges it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from skyglint.path.constants import FloatArray
from skyglint.plan.aiming import Aim, RateByGain
from skyglint.plan.cleanliness import Neighbour
from skyglint.site import Kind
from skyglint.transmitters.transmitter import Transmitter

Verdict = Literal["silent", "rustles", "heard"]

#: How much of the night a direct signal leaves to the echoes (working assumption of this program).
QUIET: Final[dict[Verdict, float]] = {"silent": 1.0, "rustles": 0.85, "heard": 0.2}

#: A direct signal this far under the noise lifts the floor by half a decibel: nothing of it is noticed.
SILENT_SNR_DB = -9.0
#: At this level the direct signal and the noise are equal.
HEARD_SNR_DB = 0.0


@dataclass(frozen=True, slots=True)
class CommonLayer:
    """The part of the layer that transmitter and site both see.

    Attributes
    ----------
    area_km2
        Its area at 95 km.
    azimuth_low_deg, azimuth_high_deg, elevation_low_deg, elevation_high_deg
        Where, from the site, eight tenths of the echoes come from, as offsets from the bearing and as elevations.
    range_km
        Mean distance of those echoes from the site.
    gain_dbi
        Mean gain of the antenna towards them, ground included.
    scatter_loss_db
        Mean of the two free-space losses, transmitter to trail and trail to site.
    """

    area_km2: float
    azimuth_low_deg: float
    azimuth_high_deg: float
    elevation_low_deg: float
    elevation_high_deg: float
    range_km: float
    gain_dbi: float
    scatter_loss_db: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """A transmitter with everything that the plan knows of it; angles in degrees, losses in dB.

    Attributes
    ----------
    transmitter
        The record from the list.
    off_band_db
        Gain that the antenna lacks because the frequency is far from the one that the receiver is set up for.
    hidden_m, hidden_geometric_m
        Its top below the site's horizon, with 4/3 and with the true Earth radius; negative above.
    direct_snr_db, direct_snr_10_db, direct_snr_1_db
        Direct signal over noise in the channel: median, exceeded 10 and 1 % of the time.
    aim
        Where the antenna collects most of its echoes.
    share_of_echoes
        Its part of the echoes on its frequency.
    floor_rise_db
        By how much direct signals, its own and others', lift the channel's floor.
    echoes_per_h
        By local solar hour; ``by_month`` the same for twelve months.
    path
        Rates by cell of the layer, for other aims.
    """

    transmitter: Transmitter
    height_m: float
    height_known: bool
    off_band_db: float
    distance_km: float
    bearing_deg: float
    back_bearing_deg: float
    hidden_m: float
    hidden_geometric_m: float
    free_space_loss_db: float
    diffraction_loss_db: float
    troposcatter_loss_db: float
    direct_snr_db: float
    direct_snr_10_db: float
    direct_snr_1_db: float
    verdict: Verdict
    aim: Aim
    layer: CommonLayer
    neighbours: tuple[Neighbour, ...]
    share_of_echoes: float
    floor_rise_db: float
    echoes_per_h: FloatArray
    by_month: FloatArray
    score: float
    path: RateByGain
    reasons: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The transmitter's name."""
        return self.transmitter.name

    @property
    def frequency_hz(self) -> float:
        """The transmitter's frequency."""
        return self.transmitter.frequency_hz

    @property
    def antenna_fits(self) -> bool:
        """Whether the antenna is made for the frequency, as far as the receiver's tuning tells."""
        return self.off_band_db == 0

    @property
    def kind(self) -> Kind:
        """The transmitter's kind."""
        return self.transmitter.kind


def verdict(direct_snr_db: float, direct_snr_1_db: float) -> Verdict:
    """Say whether the direct signal is silent, rustles at times or is heard for good.

    ``silent``: below -9 dB for all but 1 % of the time; ``heard``: as strong as the noise or stronger half the time.
    """
    if direct_snr_db >= HEARD_SNR_DB:
        return "heard"
    return "silent" if direct_snr_1_db < SILENT_SNR_DB else "rustles"
