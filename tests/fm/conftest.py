"""A small FM station for tests: stereo noise-like programme, pilot and RDS, written apart from the receiver."""

from collections.abc import Callable

import numpy as np
import pytest

POLYNOMIAL = "10110111001"  # x^10 + x^8 + x^7 + x^5 + x^4 + x^3 + 1, EN 50067 sect. 2.3
OFFSETS = {"A": "0011111100", "B": "0110011000", "C": "0101101000", "C'": "1101010000", "D": "0110110100"}


def block_text(information: int, name: str) -> str:
    """The 26 bits of a block by long division on text: slow, and unlike the program's way."""
    work = [int(bit) for bit in f"{information:016b}" + "0" * 10]
    for place in range(16):
        if work[place]:
            for step, bit in enumerate(POLYNOMIAL):
                work[place + step] ^= int(bit)
    check = [work[16 + place] ^ int(bit) for place, bit in enumerate(OFFSETS[name])]
    return f"{information:016b}" + "".join(map(str, check))


def station_bits(pi: int, n_groups: int, random: np.random.Generator, name: str = "BURSTING", version_b: bool = False):
    """Groups 0A (the name) and 2A (text) in turn; with ``version_b`` groups 0B, which repeat the PI in C'."""
    text = ""
    for index in range(n_groups):
        segment = index // 2 % 4
        letters = ord(name[2 * segment]) << 8 | ord(name[2 * segment + 1])
        if version_b:
            parts = [(pi, "A"), (0x0948 | index % 4, "B"), (pi, "C'"), (0x2020, "D")]
        elif index % 2:
            parts = [(pi, "A"), (0x2140 | index % 16, "B"), *[(int(random.integers(1 << 16)), c) for c in "CD"]]
        else:
            parts = [(pi, "A"), (0x0148 | segment, "B"), (0xE0CD, "C"), (letters, "D")]
        text += "".join(block_text(*part) for part in parts)
    return [int(bit) for bit in text]


def rds_wave(bits, seconds):
    """Differential, biphase, shaped by cos(pi f td / 4) up to 2/td (EN 50067 sect. 1.6 and 1.7), peak 1."""
    sent = 1.0 - 2.0 * (np.cumsum(bits) % 2)
    per_bit = 64
    impulses = np.zeros(len(bits) * per_bit)
    impulses[::per_bit] = sent
    impulses[per_bit // 2 :: per_bit] = -sent
    frequencies = np.fft.rfftfreq(len(impulses), 1 / per_bit)  # in 1/td
    shape = np.where(frequencies <= 2, np.cos(np.pi * frequencies / 4), 0)
    wave = np.fft.irfft(np.fft.rfft(impulses) * shape, len(impulses))
    return np.interp(seconds * 1187.5 * per_bit, np.arange(len(wave)), wave / np.abs(wave).max())


def programme(n, rate_hz, random):
    spectrum = random.standard_normal(n // 2 + 1) + 1j * random.standard_normal(n // 2 + 1)
    hertz = np.fft.rfftfreq(n, 1 / rate_hz)
    shape = np.where((hertz > 50) & (hertz < 15e3), np.hypot(1, hertz / 3183) / np.hypot(1, hertz / 500), 0)
    audio = np.fft.irfft(spectrum * shape, n)
    return np.clip(0.3 * audio / audio.std(), -1, 1)


@pytest.fixture(scope="session")
def burst() -> Callable[..., np.ndarray]:
    """Make a burst: complex64 samples, SNR in 200 kHz."""

    def make(
        random,
        snr_db=20.0,
        duration_s=0.3,
        rate_hz=240e3,
        pi=0xD3A1,
        rds_hz=3200.0,
        pilot=True,
        offset_hz=0.0,
        clock_ppm=0.0,
        subcarrier_error_hz=0.0,
        envelope=None,
        **rds,
    ):
        n = int(duration_s * rate_hz)
        seconds = np.arange(n) / rate_hz * (1 + 1e-6 * clock_ppm)
        left, right = programme(n, rate_hz, random), programme(n, rate_hz, random)
        turn = 2 * np.pi * 19e3 * seconds + random.uniform(0, 2 * np.pi)
        side = (left - right) / 2 * np.sin(2 * turn) if pilot else 0.0
        deviation = (75e3 - 7500 - rds_hz) * ((left + right) / 2 + side)
        if pilot:
            deviation += 7500 * np.sin(turn)
        if rds_hz:
            bits = station_bits(pi, int(duration_s / 0.087) + 3, random, **rds)
            wave = rds_wave(bits, seconds + random.uniform(0.005, 0.09))
            deviation += rds_hz * wave * np.sin(3 * turn + 2 * np.pi * subcarrier_error_hz * seconds)
        samples = np.exp(2j * np.pi / rate_hz * np.cumsum(deviation + offset_hz))
        if envelope is not None:
            samples *= envelope(np.arange(n) / rate_hz)
        power = 10 ** (-snr_db / 10) * rate_hz / 200e3
        noise = random.standard_normal((2, n)) * np.sqrt(power / 2)
        return (samples + noise[0] + 1j * noise[1]).astype(np.complex64)

    return make


@pytest.fixture(scope="session")
def encode() -> Callable[[int, str], str]:
    return block_text
