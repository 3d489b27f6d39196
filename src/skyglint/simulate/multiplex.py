"""An FM broadcast transmitter: the stereo multiplex with pilot and RDS, and the frequency modulation itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from skyglint.simulate import rds_encoder as rds
from skyglint.simulate.programme import AUDIO_BAND_HZ, Programme
from skyglint.simulate.resampling import AudioUpsampler
from skyglint.simulate.scenario import Transmitter

PILOT_HZ = 19_000.0  # 47 CFR 73.322(a)(2)
# Well above twice the audio band, so that the pre-emphasis, a first difference, is true to 0.6 dB at 15 kHz.
_AUDIO_RATE_HZ = 72_000.0
_AUDIO_STOP_HZ = 16_500.0  # leaves the pilot's neighbourhood clean
_LEAD_GROUPS = 1  # groups before the recording's start, so that a filter may look back


class FmStation:
    """One transmitter's complex baseband of unit amplitude at ``rate_hz``, in order or from anywhere.

    Parameters
    ----------
    station
        The scenario's transmitter.
    rate_hz
        True samples per second.
    shift_hz
        Where the carrier shall stand in the baseband.
    start_unix, duration_s
        What the clock groups tell, and how long RDS is prepared for.
    """

    def __init__(
        self,
        station: Transmitter,
        rate_hz: float,
        shift_hz: float,
        start_unix: float,
        duration_s: float,
        random: np.random.Generator,
    ) -> None:
        self._rate_hz, self._shift_hz = rate_hz, shift_hz
        self._station = station
        self._factor = max(int(rate_hz / _AUDIO_RATE_HZ), 1)
        audio_rate_hz = rate_hz / self._factor
        self._programme = Programme(station.programme, audio_rate_hz, station.preemphasis_us, random)
        half_hz = audio_rate_hz / 2
        self._upsampler = AudioUpsampler(2, self._factor, AUDIO_BAND_HZ / half_hz, min(_AUDIO_STOP_HZ / half_hz, 1.0))
        self._audio = np.zeros((2, 0), dtype=np.float32)
        self._phase_rad = random.uniform(0, 2 * np.pi)
        self._sent = self._rds_bits(start_unix, duration_s)
        self._table = rds.biphase_table()

    def _rds_bits(self, start_unix: float, duration_s: float) -> NDArray[np.uint8]:
        station = self._station
        if station.rds_pi is None or station.rds_hz == 0:
            return np.zeros(0, dtype=np.uint8)
        group_s = rds.GROUP_BITS / rds.BIT_RATE_HZ
        n_groups = int(duration_s / group_s) + 2 * _LEAD_GROUPS + 12
        first_unix = start_unix - _LEAD_GROUPS * group_s
        return rds.differential(
            rds.programme_bits(int(station.rds_pi, 16), station.rds_name, station.rds_text, first_unix, n_groups)
        )

    def read(self, start: int, n: int) -> NDArray[np.complex64]:
        """Return ``n`` samples from sample ``start`` on (counted from the recording's start)."""
        deviation_hz = self.multiplex_hz(start, n)
        deviation_hz += np.float32(self._shift_hz)
        phase = np.cumsum(deviation_hz, dtype=np.float64)
        phase *= 2 * np.pi / self._rate_hz
        phase += self._phase_rad
        self._phase_rad = float(phase[-1] % (2 * np.pi))
        return unit_phasor(phase)

    def multiplex_hz(self, start: int, n: int) -> NDArray[np.float32]:
        """Return the instantaneous deviation, Hz: (L+R)/2, (L-R)/2 on 38 kHz, the pilot, and RDS on 57 kHz.

        The difference's subcarrier crosses zero upwards with the pilot (47 CFR 73.322(a)(6)); RDS stands in phase with
        the pilot's third harmonic (IEC 62106 allows in phase or in quadrature).
        """
        station = self._station
        seconds = (start + np.arange(n, dtype=np.float64)) / self._rate_hz
        turns = seconds * PILOT_HZ
        pilot_rad = ((turns - np.floor(turns)) * (2 * np.pi)).astype(np.float32)
        sine = np.sin(pilot_rad)
        has_rds = len(self._sent) > 0
        room_hz = station.deviation_hz - station.pilot_hz - (station.rds_hz if has_rds else 0.0)
        mid, side = _peaks_cut(self._next_audio(n))
        composite: NDArray[np.float32] = mid * np.float32(room_hz)
        if station.pilot_hz:  # without a pilot the station sends in mono
            composite += side * (2 * sine * np.cos(pilot_rad)) * np.float32(room_hz)
            composite += sine * np.float32(station.pilot_hz)
        if has_rds:
            bit = seconds * rds.BIT_RATE_HZ + _LEAD_GROUPS * rds.GROUP_BITS
            triple = sine * (3 - 4 * sine * sine)
            composite += rds.waveform(self._sent, bit, self._table) * triple * np.float32(station.rds_hz)
        return composite

    def _next_audio(self, n: int) -> NDArray[np.float32]:
        parts, have = [self._audio], self._audio.shape[1]
        while have < n:
            parts.append(self._upsampler.process(self._programme.read(self._upsampler.hop)))
            have += parts[-1].shape[1]
        joined = np.concatenate(parts, axis=1)
        self._audio = joined[:, n:]
        return joined[:, :n]


def _peaks_cut(audio: NDArray[np.float32]) -> NDArray[np.float32]:
    """Hold left and right within +-1 where the audio filter overshot the limiter (rare)."""
    left, right = np.clip(audio[0] + audio[1], -1, 1), np.clip(audio[0] - audio[1], -1, 1)
    return np.stack([(left + right) / 2, (left - right) / 2])


def unit_phasor(phase_rad: NDArray[np.float64]) -> NDArray[np.complex64]:
    """Return exp(i phase) as complex64; the phase is folded first, so that single precision suffices."""
    folded = (phase_rad - 2 * np.pi * np.rint(phase_rad / (2 * np.pi))).astype(np.float32)
    phasor = np.empty(len(folded), dtype=np.complex64)
    np.cos(folded, out=phasor.real)
    np.sin(folded, out=phasor.imag)
    return phasor
