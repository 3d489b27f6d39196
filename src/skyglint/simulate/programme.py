"""Programme-like audio: coloured noise with the rhythm and the pauses of speech or music, held to full level."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

ProgrammeType = Literal["speech", "music", "silence"]

AUDIO_BAND_HZ = 15_000.0  # 47 CFR 73.322: audio of 50 to 15,000 Hz
_BASS_HZ = 30.0  # the alternating-current couplings of a studio's chain let nothing slower through (common practice)

# Long-term spectra, rhythm and level after a broadcaster's compressor: common practice, tuned so that the transmitted
# programme of 75 kHz peak deviation occupies about 116 kHz (99 % of the power).
_CORNER_HZ = {"speech": 500.0, "music": 1_200.0}
_TREBLE_HZ = 5_000.0
_BEATS_HZ = {"speech": 4.0, "music": 2.0}
_SWING_DB = {"speech": 6.0, "music": 2.5}
_PAUSE_SHARE = {"speech": 0.15, "music": 0.0}
_SIDE_SHARE = {"speech": 0.05, "music": 0.35}
_DRIVE = {"speech": 0.47, "music": 0.53}
_LIMIT = 0.8  # leaves room for the overshoot of the 15 kHz filter after the limiter
_KNOT_S = 0.05


class Programme:
    """A stream of stereo audio at ``rate_hz``, pre-emphasised, within +-1: rows mid (L+R)/2 and side (L-R)/2.

    Parameters
    ----------
    programme
        The rhythm: speech pauses between words, music does not.
    rate_hz
        At least twice the audio band of 15 kHz.
    preemphasis_us
        Time constant: 50 in Europe, 75 in the USA (ITU-R BS.450-3 sec. 1.2).
    """

    def __init__(
        self, programme: ProgrammeType, rate_hz: float, preemphasis_us: float, random: np.random.Generator
    ) -> None:
        self._programme = programme
        self._rate_hz = rate_hz
        self._random = random
        self._rhythm = _Rhythm(programme, rate_hz, random)
        if programme != "silence":
            self._colour = Colour(_CORNER_HZ[programme], preemphasis_us, rate_hz)

    def read(self, n: int) -> NDArray[np.float32]:
        """Return the next ``n`` samples, shape (2, n)."""
        if self._programme == "silence":
            return np.zeros((2, n), dtype=np.float32)
        white = self._random.standard_normal((2, n), dtype=np.float32)
        coloured = self._colour.process(white)
        side = np.float32(_SIDE_SHARE[self._programme])
        coloured[1] *= side
        coloured *= self._rhythm.read(n) * np.float32(_DRIVE[self._programme])
        return _held(coloured)


def _held(audio: NDArray[np.float32]) -> NDArray[np.float32]:
    """Limit left and right to +-1 softly, as a broadcaster's limiter does (common practice)."""
    left, right = (np.tanh(each / _LIMIT) for each in (audio[0] + audio[1], audio[0] - audio[1]))
    return np.stack([(left + right) / 2, (left - right) / 2]) * np.float32(_LIMIT)


class Colour:
    """White noise to the long-term spectrum of a programme: two poles, pre-emphasised, unit power before the rhythm.

    Nothing at 0 Hz: two couplings with their corner at 30 Hz.
    """

    def __init__(self, corner_hz: float, preemphasis_us: float, rate_hz: float) -> None:
        poles = np.exp(-2 * np.pi * np.array([corner_hz, _TREBLE_HZ]) / rate_hz)
        # Pre-emphasis 1 + tau d/dt, with the derivative as a first difference.
        lead = preemphasis_us * 1e-6 * rate_hz
        coupling = np.exp(-2 * np.pi * _BASS_HZ / rate_hz)
        self._b = np.convolve([1 + lead, -lead], [1.0, -2.0, 1.0])
        self._a = np.poly([*poles, coupling, coupling])
        delay = np.exp(-1j * np.linspace(0, np.pi, 4096))
        gain = np.abs(np.polyval(self._b[::-1], delay) / np.polyval(self._a[::-1], delay)) ** 2
        self._b /= np.sqrt(gain.mean())
        self._state = np.zeros((2, 4))

    def process(self, white: NDArray[np.float32]) -> NDArray[np.float32]:
        """Take the next white samples, shape (2, n); return them coloured."""
        from scipy.signal import lfilter

        coloured, self._state = lfilter(self._b, self._a, white, axis=-1, zi=self._state)
        return np.asarray(coloured, dtype=np.float32)


class _Rhythm:
    """A slowly changing level about 1: a random walk in decibels at the beat, with pauses."""

    def __init__(self, programme: ProgrammeType, rate_hz: float, random: np.random.Generator) -> None:
        self._programme = programme
        self._knot = max(round(_KNOT_S * rate_hz), 1)
        self._random = random
        self._level_db = 0.0
        self._pause_knots = 0
        self._from = 1.0
        self._buffer = np.zeros(0, dtype=np.float32)

    def read(self, n: int) -> NDArray[np.float32]:
        parts, have = [self._buffer], len(self._buffer)
        while have < n:
            level = self._next_level()
            parts.append(np.linspace(self._from, level, self._knot, endpoint=False, dtype=np.float32))
            self._from = level
            have += self._knot
        joined = np.concatenate(parts)
        self._buffer = joined[n:]
        return joined[:n]

    def _next_level(self) -> float:
        keep = np.exp(-2 * np.pi * _BEATS_HZ[self._programme] * _KNOT_S / 2)
        step = _SWING_DB[self._programme] * np.sqrt(1 - keep**2)
        self._level_db = keep * self._level_db + step * self._random.standard_normal()
        if self._pause_knots > 0:
            self._pause_knots -= 1
            return 0.0
        if self._random.random() < _PAUSE_SHARE[self._programme] * _KNOT_S / 0.4:
            self._pause_knots = int(self._random.integers(4, 12))
        return float(10 ** (self._level_db / 20))
