"""An arrival: one way in which a signal reaches the receiver for a while, as a gain that changes with time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from skyglint.simulate.multiplex import unit_phasor

FRAME_S = 0.01  # peak power is that of a frame of 10 ms


@dataclass(frozen=True, slots=True)
class Arrival:
    """A complex gain on evenly spaced knots, straight between them, with a Doppler shift of its own.

    Attributes
    ----------
    start_s
        Time of the first knot, seconds after the recording's start.
    step_s
        Time between knots; the gain must be smooth on this scale.
    gain
        Amplitude and phase at the knots, shape (n,), n of 2 or more; outside the knots it is zero.
    doppler_hz
        Shift at the knots, shape (n,), straight between them; the phase is its exact integral. ``None``: no shift.
    """

    start_s: float
    step_s: float
    gain: NDArray[np.complex64]
    doppler_hz: NDArray[np.float64] | None = None

    @property
    def end_s(self) -> float:
        """Time of the last knot."""
        return self.start_s + (len(self.gain) - 1) * self.step_s

    def at(self, start_s: float, step_s: float, n: int) -> NDArray[np.complex64]:
        """Return the gain at ``n`` times from ``start_s`` on, ``step_s`` apart."""
        place = (start_s - self.start_s + np.arange(n) * step_s) / self.step_s
        inside = (place >= 0) & (place <= len(self.gain) - 1)
        knot = np.clip(place.astype(np.intp), 0, len(self.gain) - 2)
        part = (place - knot).astype(np.float32)
        value = self.gain[knot] * (1 - part) + self.gain[knot + 1] * part
        if self.doppler_hz is not None:
            value *= unit_phasor(self._phase_rad(self.doppler_hz, knot, part))
        value[~inside] = 0
        return value

    def _phase_rad(
        self, doppler_hz: NDArray[np.float64], knot: NDArray[np.intp], part: NDArray[np.float32]
    ) -> NDArray[np.float64]:
        turns = np.concatenate([[0.0], np.cumsum((doppler_hz[1:] + doppler_hz[:-1]) / 2)])
        slope = doppler_hz[knot + 1] - doppler_hz[knot]
        return 2 * np.pi * self.step_s * (turns[knot] + doppler_hz[knot] * part + slope * part**2 / 2)

    def peak_power(self) -> float:
        """Return the power of the strongest 10 ms (or of the strongest knot, if knots are wider apart)."""
        return float(self._frames().max())

    def strongest_frame_s(self) -> float:
        """Return the middle of the strongest 10 ms."""
        width = self._frame_knots()
        return self.start_s + (int(np.argmax(self._frames())) + (1 - width) / 2) * self.step_s

    def scaled(self, peak_power: float, phase_rad: float = 0.0) -> Arrival:
        """Return the same arrival with this power in its strongest 10 ms, its phase turned."""
        factor = np.complex64(np.sqrt(peak_power / self.peak_power()) * np.exp(1j * phase_rad))
        return replace(self, gain=self.gain * factor)

    def _frames(self) -> NDArray[np.float64]:
        """Return the mean power of the frame that ends with each knot."""
        power = np.abs(self.gain).astype(np.float64) ** 2
        width = self._frame_knots()
        summed = np.concatenate([np.zeros(width), np.cumsum(power)])
        return np.asarray((summed[width:] - summed[:-width]) / width)

    def _frame_knots(self) -> int:
        return max(round(FRAME_S / self.step_s), 1)


def sum_at(arrivals: Sequence[Arrival], start_s: float, step_s: float, n: int) -> NDArray[np.complex64] | None:
    """Return the gain of all arrivals together at ``n`` times; ``None`` while none of them is on."""
    end_s = start_s + (n - 1) * step_s
    total: NDArray[np.complex64] | None = None
    for arrival in arrivals:
        if arrival.end_s < start_s or arrival.start_s > end_s:
            continue
        gain = arrival.at(start_s, step_s, n)
        total = gain if total is None else total + gain
    return total
