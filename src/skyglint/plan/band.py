"""What the transmitters in reach send directly into the aimed antenna: references, guards, strong locals."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from skyglint.path.constants import FloatArray
from skyglint.plan.aiming import Aim, horizon_gain_dbi
from skyglint.plan.cleanliness import leak_db
from skyglint.plan.planning import Plan
from skyglint.plan.proposal import Proposed, apart
from skyglint.plan.sensitivity import noise_density_w_hz
from skyglint.plan.span import window_hz
from skyglint.site import DEFAULT_BANDWIDTH_HZ

#: A station this strong reaches the end of an 8-bit receiver's range (common practice: some 50 dB).
STRONG_SNR_DB: Final = 50.0
#: A station this strong leaves an image that is noticed (common practice: images some 30 to 50 dB down).
IMAGE_SNR_DB: Final = 35.0

_REFERENCE_SNR_DB: Final = (15.0, 55.0)
#: A reference leaves its neighbours this much room: it is strong.
_CLEAR_HZ: Final = 300e3
#: Guards between carriers stand on multiples of this.
_CARRIER_GUARD_HZ: Final = 20e3


class Band:
    """The direct levels of a plan's transmitters with the antenna aimed.

    Parameters
    ----------
    plan
        For its survey, site and settings.
    aim
        Where the antenna points.
    """

    def __init__(self, plan: Plan, aim: Aim) -> None:
        self._plan = plan
        around, settings = plan.survey, plan.settings
        noise = noise_density_w_hz(around.frequency_hz, settings.environment, settings.noise_figure_db)
        noise_dbm = 10 * np.log10(noise * DEFAULT_BANDWIDTH_HZ["fm"]) + 30
        self._snr_db = around.direct_dbm[0] + horizon_gain_dbi(plan.site.antenna, aim, around.azimuth_deg) - noise_dbm

    def reference(self, channels: Sequence[Proposed]) -> Proposed | None:
        """Return the steadiest local station in the span: strong, but not at the end of the receiver's range."""
        around, (low, high) = self._plan.survey, window_hz(self._plan.site, channels)
        fits = (around.frequency_hz >= low) & (around.frequency_hz <= high) & around.is_fm
        fits &= (self._snr_db >= _REFERENCE_SNR_DB[0]) & (self._snr_db <= _REFERENCE_SNR_DB[1])
        taken = np.array([channel.frequency_hz for channel in channels])
        fits &= np.min(np.abs(around.frequency_hz[:, None] - taken), axis=1) >= _CLEAR_HZ
        if not fits.any():
            return None
        k = int(np.argmax(np.where(fits, self._snr_db, -np.inf)))
        one = around.transmitters[k]
        reason = f"always there: {self._snr_db[k]:.0f} dB over the noise, {around.distance_m[k] / 1e3:.0f} km"
        return Proposed("reference", "fm", one.frequency_hz, one, float(around.height_m[k]), reason)

    def guard(self, channels: Sequence[Proposed]) -> Proposed | None:
        """Return the emptiest frequency in the span, as far as the list knows: on the raster, or between carriers."""
        around, (low, high) = self._plan.survey, window_hz(self._plan.site, channels)
        kind = channels[0].kind
        centers = self._plan.raster.centers_hz()
        if kind == "carrier":
            centers = np.arange(np.ceil(low / _CARRIER_GUARD_HZ), np.floor(high / _CARRIER_GUARD_HZ) + 1)
            centers = centers * _CARRIER_GUARD_HZ
        free = [
            float(center)
            for center in centers[(centers >= low) & (centers <= high)]
            if all(apart(float(center), kind, channel.frequency_hz, channel.kind) for channel in channels)
        ]
        if not free:
            return None
        best = free[int(np.argmin(self._occupied(np.array(free), kind == "fm")))]
        nearest = around.distance_m[np.abs(around.frequency_hz - best) < (50e3 if kind == "fm" else 5e3)]
        who = "nobody on it within reach"
        if nearest.size:
            who = f"nearest transmitter on it {nearest.min() / 1e3:.0f} km away"
        return Proposed("guard", kind, best, None, None, who)

    def _occupied(self, centers_hz: FloatArray, fm: bool) -> FloatArray:
        """Return how much of others' direct signals and echoes frequencies hold, to be compared."""
        around = self._plan.survey
        spacing = centers_hz[:, None] - around.frequency_hz
        leak = leak_db(spacing) if fm else np.where(np.abs(spacing) < 5e3, 0.0, -60.0)
        leak = np.where(around.is_fm == fm, leak, -200.0)
        direct = np.sum(10 ** ((self._snr_db + leak) / 10), axis=1)
        # What meteors would bring: power spread over the sky falls as the square of distance, counts nearly as power.
        power = around.erp_horizontal_w + around.erp_vertical_w
        lit = np.sum(power / np.maximum(around.distance_m, 1e5) ** 2 * 10 ** (leak / 10), axis=1)
        return np.asarray(direct + lit / max(float(lit.max()), 1e-30))

    def strong_hz(self) -> FloatArray:
        """Return the frequencies of stations whose image is noticed."""
        return np.asarray(self._plan.survey.frequency_hz[self._snr_db >= IMAGE_SNR_DB])

    def loudest(self, center_hz: float) -> tuple[str, float, float] | None:
        """Return name, frequency and level of the strongest station in the span that comes near a receiver's range."""
        around = self._plan.survey
        near = np.abs(around.frequency_hz - center_hz) <= self._plan.site.receiver.sample_rate_hz / 2
        strong: NDArray[np.intp] = np.flatnonzero(near & (self._snr_db >= STRONG_SNR_DB))
        if strong.size == 0:
            return None
        k = int(strong[np.argmax(self._snr_db[strong])])
        return around.transmitters[k].name, around.transmitters[k].frequency_hz, float(self._snr_db[k])
