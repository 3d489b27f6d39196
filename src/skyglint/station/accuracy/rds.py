"""Naming the station of a burst: success against signal-to-noise ratio and length, and errors made."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.fm.blocks import BIT_RATE_HZ, BLOCK_BITS
from skyglint.fm.identity import Identity, identify
from skyglint.simulate.multiplex import FmStation
from skyglint.simulate.programme import ProgrammeType
from skyglint.simulate.scenario import Transmitter

RATE_HZ = 250_000.0
BANDWIDTH_HZ = 200_000.0
_LEVELS_DB = (4.0, 6.0, 8.0, 10.0, 12.0, 15.0, 20.0)
_LENGTHS_S = (0.1, 0.2, 0.3, 0.5, 1.0)
_STREAM_S = 20.0
_CODE, _OTHER = "D3A1", "D7C2"


@dataclass(frozen=True, slots=True)
class RdsCell:
    """Bursts of one level and length: share named blind, share confirmed when declared, and the yardstick.

    ``hard_decisions`` is the share in which a receiver that decides bit by bit at the theoretical error rate finds a
    whole block A with a whole neighbour; soft decisions over repeats can do better.
    """

    snr_db: float
    duration_s: float
    bursts: int
    blind: float
    declared: float
    hard_decisions: float


@dataclass(frozen=True, slots=True)
class RdsErrors:
    """Wrong codes and wrong confirmations over bursts of every kind, and how many bursts there were."""

    bursts: int
    wrong_codes: int
    wrong_confirmations: int


def measure_success(
    bursts: int,
    seed: int,
    levels_db: Sequence[float] = _LEVELS_DB,
    lengths_s: Sequence[float] = _LENGTHS_S,
    rds_hz: float = 3_200.0,
) -> list[RdsCell]:
    """Return the success in each cell of levels and lengths, over ``bursts`` bursts each; every fourth is mono."""
    random = np.random.default_rng([seed, 1])
    stereo, mono = (StationSignal(random, rds_hz, pilot_hz=pilot_hz) for pilot_hz in (6_750.0, 0.0))
    cells = []
    for duration_s in lengths_s:
        for snr_db in levels_db:
            blind = declared = 0
            for index in range(bursts):
                samples = (mono if index % 4 == 3 else stereo).burst(random, duration_s, snr_db)
                blind += identify(samples, RATE_HZ).pi == _CODE
                declared += identify(samples, RATE_HZ, 0.0, _CODE).confirmed == "same"
            bound = hard_decision_success(snr_db, duration_s, rds_hz)
            cells.append(RdsCell(snr_db, duration_s, bursts, blind / bursts, declared / bursts, bound))
    return cells


def measure_errors(bursts: int, seed: int) -> RdsErrors:
    """Count wrong answers over stations with and without pilot, without RDS, other stations and bare noise.

    Levels are drawn evenly from -2 to 16 dB and lengths from 0.05 to 1 s, where doubtful answers are most likely. The
    declared code is another than the one sent, or none is sent.
    """
    random = np.random.default_rng([seed, 2])
    streams = [
        StationSignal(random, rds_hz, pilot_hz=pilot_hz)
        for rds_hz, pilot_hz in ((3_200, 6_750), (4_000, 0), (0, 6_750))
    ]
    codes = confirmations = 0
    for index in range(bursts):
        duration_s, snr_db = random.uniform(0.05, 1.0), random.uniform(-2, 16)
        kind = index % 4
        stream = streams[kind % 3]
        samples = stream.burst(random, duration_s, snr_db if kind < 3 else -math.inf)
        identity: Identity = identify(samples, RATE_HZ, 0.0, _OTHER)
        codes += identity.pi not in ("", _CODE if kind < 2 else "")
        confirmations += identity.confirmed == "same"
    return RdsErrors(bursts, codes, confirmations)


def bit_error_rate(snr_db: float, rds_hz: float, bandwidth_hz: float = BANDWIDTH_HZ) -> float:
    """Return the error rate of differentially coded bits on the subcarrier behind an ideal discriminator.

    The noise density at baseband frequency f is f^2 N0/C; the biphase waveform's power is half its peak's and the
    subcarrier halves it again; coherent detection then gives 2 Q (1 - Q), Q = Q(sqrt(2 Eb/N0)) (Proakis, Digital
    Communications, ch. 5).
    """
    c_n0_hz = 10 ** (snr_db / 10) * bandwidth_hz
    energy = rds_hz**2 / 4 / BIT_RATE_HZ / 57_000.0**2 * c_n0_hz
    one = 0.5 * math.erfc(math.sqrt(energy))
    return 2 * one * (1 - one)


def hard_decision_success(snr_db: float, duration_s: float, rds_hz: float) -> float:
    """Return the chance that a burst holds a block A and a neighbour of it without an error, over all starts."""
    whole = (1 - bit_error_rate(snr_db, rds_hz)) ** BLOCK_BITS
    n_bits = int(duration_s * BIT_RATE_HZ) - 1
    group = 4 * BLOCK_BITS
    failures = []
    for start in range(group):
        failed = 1.0
        for first in range(start - group, n_bits, group):
            held = [
                first + shift >= 0 and first + shift + BLOCK_BITS <= n_bits for shift in (-BLOCK_BITS, 0, BLOCK_BITS)
            ]
            neighbours = held[0] + held[2]
            if held[1]:
                failed *= 1 - whole * (1 - (1 - whole) ** neighbours)
        failures.append(failed)
    return 1 - float(np.mean(failures))


class StationSignal:
    """A station's noiseless signal, from which bursts are cut at random."""

    def __init__(
        self, random: np.random.Generator, rds_hz: float, pilot_hz: float, programme: ProgrammeType = "music"
    ) -> None:
        transmitter = Transmitter(
            name="Vindhamn",
            kind="fm",
            frequency_hz=98.3e6,
            programme=programme,
            rds_hz=float(rds_hz),
            pilot_hz=float(pilot_hz),
            rds_pi=_CODE,
            rds_name="VINDHAMN",
            rds_text="The long way over the water, by night",
        )
        station = FmStation(transmitter, RATE_HZ, 0.0, 1_786_586_400.0, _STREAM_S, random)
        step = round(RATE_HZ)
        self._samples = np.concatenate([station.read(start, step) for start in range(0, int(_STREAM_S) * step, step)])

    def burst(
        self, random: np.random.Generator, duration_s: float, snr_db: float, shift_hz: float = 0.0
    ) -> NDArray[np.complex64]:
        """Return a burst in noise, shape (n,), at `RATE_HZ`; its SNR is in `BANDWIDTH_HZ`."""
        n = round(duration_s * RATE_HZ)
        start = int(random.integers(len(self._samples) - n))
        noise = random.standard_normal(2 * n, dtype=np.float32).view(np.complex64)
        amplitude = np.float32(math.sqrt(2 * 10 ** (snr_db / 10) * BANDWIDTH_HZ / RATE_HZ))
        turns = np.exp(2j * np.pi * shift_hz / RATE_HZ * np.arange(n)).astype(np.complex64)
        burst: NDArray[np.complex64] = self._samples[start : start + n] * turns * amplitude + noise
        return burst
