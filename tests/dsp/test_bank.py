"""The filter bank against closed forms: calibration, scatter, leakage, images, clocks; and streamed against whole."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skyglint.dsp.bank import FilterBank
from skyglint.dsp.frames import FrameBlock
from skyglint.dsp.kernels import PLAIN, load_kernels
from skyglint.signals.block import Block, Encoding
from skyglint.site import Channel

CU8 = Encoding("cu8", np.dtype(np.uint8), 127.5, 127.5)
CF32 = Encoding("cf32_le", np.dtype("<f4"), 0.0, 1.0)
CENTER_HZ = 98.0e6


def channel(kind: str, frequency_hz: float, name: str = "one", bandwidth_hz: float | None = None) -> Channel:
    extra = {} if bandwidth_hz is None else {"bandwidth_hz": bandwidth_hz}
    return Channel(name=name, role="target", kind=kind, frequency_hz=frequency_hz, **extra)


def as_floats(samples: np.ndarray) -> np.ndarray:
    return samples.astype(np.complex64).view(np.float32)


def feed(bank: FilterBank, values: np.ndarray, rate: float, cuts=(), encoding: Encoding = CF32) -> list[FrameBlock]:
    edges = [0, *cuts, len(values) // encoding.components]
    blocks = []
    for start, end in pairwise(edges):
        part = values[start * encoding.components : end * encoding.components]
        out = bank.process(Block(part, encoding, 0, 1000.0, start, rate, CENTER_HZ))
        if out is not None:
            blocks.append(out)
    return blocks


def noise(n: int, power: float, seed: int = 5) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.sqrt(power / 2) * (rng.standard_normal(n) + 1j * rng.standard_normal(n))


@pytest.mark.parametrize("rate", [250e3, 1.024e6, 2.4e6])
def test_white_noise_gives_each_channel_its_share_of_the_power(rate):
    # White noise of power P over the span puts P * B / rate into a channel of width B.
    channels = [channel("fm", CENTER_HZ + 0.12 * rate, bandwidth_hz=0.2 * rate)]
    bank = FilterBank(channels)
    frames = feed(bank, as_floats(noise(int(rate * 0.6), 0.01)), rate)
    power = np.concatenate([block.spectra[0].sum(axis=1) for block in frames])
    grid = bank.geometry.grids[0]
    share = len(grid.offsets_hz) * grid.bin_hz / rate
    assert power.mean() == pytest.approx(0.01 * share, rel=0.02)


def test_noise_scatters_as_the_stated_number_of_independent_samples():
    # A chi-square mean of N independent complex samples has relative variance 1 / N (Urkowitz 1967).
    rate = 1.2e6
    bank = FilterBank([channel("fm", CENTER_HZ + 300e3)])
    frames = feed(bank, as_floats(noise(int(rate * 12), 0.01)), rate)
    grid = bank.geometry.grids[0]
    power = np.concatenate([block.spectra[0].sum(axis=1) for block in frames])
    independent = (power.mean() / power.std()) ** 2
    assert independent == pytest.approx(grid.samples_per_frame * len(grid.offsets_hz), rel=0.10)


@pytest.mark.parametrize("kernels", [PLAIN, load_kernels()], ids=["plain", "default"])
def test_a_strong_neighbour_stays_far_down(kernels):
    rate = 1.2e6
    n = np.arange(int(rate * 0.1))
    tone = np.exp(2j * np.pi * (103_300.0 / rate) * n)
    bank = FilterBank([channel("fm", CENTER_HZ + 300e3), channel("fm", CENTER_HZ + 100e3, "two")], kernels=kernels)
    frames = feed(bank, as_floats(tone), rate)
    quiet = np.mean([block.spectra[0].sum(axis=1).mean() for block in frames])
    loud = np.mean([block.spectra[1].sum(axis=1).mean() for block in frames])
    assert 10 * np.log10(quiet / loud) < -90
    assert 10 * np.log10(loud) == pytest.approx(0.0, abs=1.6)  # a tone's place between two bins matters by 3 dB in all


def test_compiled_and_plain_kernels_agree():
    pytest.importorskip("numba")
    rng = np.random.default_rng(3)
    values = rng.integers(0, 256, 2 * 240_000, dtype=np.uint8)
    channels = [channel("fm", CENTER_HZ + k * 200e3, f"c{k}") for k in (-5, -1, 0, 2)]
    plain, compiled = (
        feed(FilterBank(channels, kernels=kernels), values, 2.4e6, encoding=CU8)
        for kernels in (PLAIN, load_kernels(True))
    )
    for first, second in zip(plain, compiled, strict=True):
        np.testing.assert_allclose(first.level, second.level, rtol=1e-5)
        np.testing.assert_allclose(first.clipped, second.clipped)
        for a, b in zip(first.spectra, second.spectra, strict=True):
            np.testing.assert_allclose(a, b, rtol=2e-4, atol=1e-12)


@settings(max_examples=15, deadline=None)
@given(cuts=st.lists(st.integers(1, 95_999), max_size=6, unique=True).map(sorted))
def test_cutting_the_stream_changes_nothing(cuts):
    rate = 240e3
    samples = as_floats(noise(96_000, 0.02) + 0.1 * np.exp(2j * np.pi * 0.11 * np.arange(96_000)))
    channels = [
        channel("fm", CENTER_HZ + 60e3, "f", bandwidth_hz=80e3),
        channel("carrier", CENTER_HZ + 0.11 * rate, "c"),
    ]
    whole = feed(FilterBank(channels), samples, rate)
    parts = feed(FilterBank(channels), samples, rate, cuts)
    assert sum(block.n_frames for block in whole) == sum(block.n_frames for block in parts)
    for place in (0, 1):
        one = np.concatenate([block.spectra[place] for block in whole])
        two = np.concatenate([block.spectra[place] for block in parts])
        np.testing.assert_allclose(one, two, rtol=1e-3, atol=1e-9)
    one = np.concatenate([block.basebands[1] for block in whole])
    two = np.concatenate([block.basebands[1] for block in parts])
    np.testing.assert_allclose(one, two, atol=1e-5)
    starts = [block.start_unix for block in parts]
    counts = np.cumsum([0] + [block.n_frames for block in parts[:-1]])
    np.testing.assert_allclose(starts, 1000.0 + counts * parts[0].frame_s)


@pytest.mark.parametrize("rate", [12e3, 48e3, 96e3, 192e3, 280e3, 2.4e6])
def test_a_carrier_arrives_at_its_own_frequency_with_its_own_power(rate):
    n = np.arange(int(rate * 0.5))
    offset = 0.17 * rate
    tone = 0.3 * np.exp(2j * np.pi * ((offset + 137.0) / rate) * n)
    bank = FilterBank([channel("carrier", CENTER_HZ + offset, bandwidth_hz=min(6e3, rate / 3))])
    frames = feed(bank, as_floats(tone), rate)
    baseband = np.concatenate([block.basebands[0] for block in frames])[200:]
    fb = frames[0].baseband_rate_hz
    assert np.mean(np.abs(baseband) ** 2) == pytest.approx(0.09, rel=2e-3)
    turn = np.angle(np.sum(baseband[1:] * np.conj(baseband[:-1]))) / (2 * np.pi) * fb
    assert turn == pytest.approx(137.0, abs=0.01)
    power = np.concatenate([block.spectra[0] for block in frames])[5:]
    assert power.sum(axis=1).mean() == pytest.approx(0.09, rel=5e-3)
    peak = bank.geometry.grids[0].offsets_hz[power.mean(axis=0).argmax()]
    assert peak == pytest.approx(137.0, abs=bank.geometry.grids[0].bin_hz)


def test_a_carrier_channel_rejects_what_would_fold_into_it():
    rate = 2.4e6
    bank = FilterBank([channel("carrier", CENTER_HZ + 200e3)])
    n = np.arange(int(rate * 0.2))
    feed(bank, as_floats(np.zeros(1000)), rate)
    baseband_rate = rate / bank.geometry.ranges[0].decimation
    for images in (1, 3, 10, 27):
        tone = np.exp(2j * np.pi * ((200e3 + images * baseband_rate + 1_000.0) / rate) * n)
        frames = feed(FilterBank([channel("carrier", CENTER_HZ + 200e3)]), as_floats(tone), rate)
        baseband = np.concatenate([block.basebands[0] for block in frames])[300:-300]
        assert 10 * np.log10(np.mean(np.abs(baseband) ** 2)) < -70


def test_the_image_of_unequal_arms_is_taken_off():
    # Gain error g and phase error p give an image at about ((g/2)^2 + (p/2)^2) of the signal's power.
    rate, seconds = 1.2e6, 3.0
    n = np.arange(int(rate * seconds))
    spectrum = np.zeros(len(n), dtype=complex)
    inside = slice(round(240e3 * seconds), round(360e3 * seconds))
    spectrum[inside] = noise(inside.stop - inside.start, 1.0)
    clean = np.fft.ifft(spectrum)
    clean *= 0.2 / np.sqrt(np.mean(np.abs(clean) ** 2))
    skewed = clean.real * 1.05 + 1j * (clean.imag * np.cos(0.05) + clean.real * np.sin(0.05))
    bank = FilterBank([channel("fm", CENTER_HZ - 300e3)])
    frames = feed(bank, as_floats(skewed), rate, cuts=range(120_000, len(n), 120_000))
    power = np.concatenate([block.spectra[0].sum(axis=1) for block in frames])
    before, after = power[:90].mean(), power[200:].mean()
    assert before == pytest.approx(0.04 * (0.025**2 + 0.025**2), rel=0.1)
    assert 10 * np.log10(after / before) < -25


def test_the_centre_spike_is_marked_and_a_channel_beside_it_does_not_see_it():
    rate = 1.2e6
    bank = FilterBank([channel("fm", CENTER_HZ), channel("fm", CENTER_HZ + 200e3, "two")])
    frames = feed(bank, as_floats(noise(120_000, 1e-6) + 0.3), rate)
    middle = bank.geometry.grids[0]
    assert np.all(np.abs(middle.offsets_hz[~middle.usable]) <= 1.01 * middle.bin_hz)
    assert (~middle.usable).sum() >= 1
    usable = frames[0].spectra[0][:, middle.usable].sum(axis=1).mean()
    beside = frames[0].spectra[1].sum(axis=1).mean()
    assert usable < 4e-7
    assert beside == pytest.approx(1e-6 / 6, rel=0.05)


def test_clock_correction_moves_frequency_and_time():
    # A clock that runs fast by 20 ppm tunes 1960 Hz too high at 98 MHz: a true tone shows 1960 Hz too low.
    rate, ppm = 48e3, 20.0
    factor = 1 + ppm * 1e-6
    true_tone_hz = CENTER_HZ + 5_000.0
    n = np.arange(int(rate * 2))
    tone = np.exp(2j * np.pi * (true_tone_hz - CENTER_HZ * factor) / (rate * factor) * n)
    bank = FilterBank([channel("carrier", true_tone_hz)], correction_ppm=ppm)
    frames = feed(bank, as_floats(tone), rate)
    baseband = np.concatenate([block.basebands[0] for block in frames])[100:]
    turn = np.angle(np.sum(baseband[1:] * np.conj(baseband[:-1]))) / (2 * np.pi) * frames[0].baseband_rate_hz
    assert turn == pytest.approx(0.0, abs=0.02)
    assert frames[0].frame_s == pytest.approx(0.01 / factor, rel=1e-12)


def test_clipping_and_level_are_measured():
    rate = 240e3
    values = np.full(2 * 48_000, 127, dtype=np.uint8)
    values[2 * 24_000 :] = 255
    frames = feed(FilterBank([channel("fm", CENTER_HZ, bandwidth_hz=100e3)]), values, rate, encoding=CU8)
    clipped = np.concatenate([block.clipped for block in frames])
    level = np.concatenate([block.level for block in frames])
    assert clipped[:9].max() == 0.0
    assert clipped[11:].min() == 1.0
    assert level[12] == pytest.approx(2.0)  # I and Q both at full scale
    assert level[2] == pytest.approx(2 * (0.5 / 127.5) ** 2, rel=1e-4)


def test_a_channel_outside_the_band_yields_nothing():
    bank = FilterBank([channel("fm", CENTER_HZ + 5e6), channel("carrier", CENTER_HZ - 5e6, "c")])
    frames = feed(bank, as_floats(noise(24_000, 0.01)), 240e3)
    assert bank.geometry.grids == (None, None)
    assert frames[0].spectra[0].shape == (frames[0].n_frames, 0)
    assert frames[0].basebands == (None, None)


def test_a_new_stretch_starts_anew():
    bank = FilterBank([channel("fm", CENTER_HZ, bandwidth_hz=100e3)])
    values = as_floats(noise(10_000, 0.01))
    first = bank.process(Block(values, CF32, 0, 1000.0, 0, 240e3, CENTER_HZ))
    second = bank.process(Block(values, CF32, 1, 2000.0, 0, 120e3, CENTER_HZ))
    assert (first.stretch, first.first_frame, first.start_unix) == (0, 0, 1000.0)
    assert (second.stretch, second.first_frame, second.start_unix) == (1, 0, 2000.0)
