"""Frames with known bursts: gamma-distributed bin powers, drawn without any of the code under test."""

import numpy as np
import pytest

from skyglint.dsp.frames import ChannelGrid, FrameBlock
from skyglint.site import Channel

FRAME_S = 0.01
OFFSETS_HZ = (np.arange(100) - 49.5) * 2000.0
SAMPLES_PER_FRAME = 19.0
START_UNIX = 1_786_586_400.0


class Night:
    """A maker of channels, grids and frames."""

    frame_s = FRAME_S
    start_unix = START_UNIX

    @staticmethod
    def channels(n, roles=None):
        return [
            Channel(name=f"lane-{i}", role=roles[i] if roles else "target", kind="fm", frequency_hz=90e6 + 4e5 * i)
            for i in range(n)
        ]

    @staticmethod
    def grids(n):
        return [ChannelGrid(OFFSETS_HZ, 2000.0, SAMPLES_PER_FRAME, np.ones(100, dtype=bool)) for _ in range(n)]

    @staticmethod
    def frames(rng, snr, gain=None, stretch=0, start_unix=START_UNIX):
        """Draw frames; ``snr`` is signal over noise in 200 kHz, shape (n_channels, n_frames), ``gain`` alike."""
        snr = np.atleast_2d(np.asarray(snr, dtype=float))
        n_channels, n_frames = snr.shape
        programme = np.exp(-0.5 * (OFFSETS_HZ / 22_500.0) ** 2)
        programme /= programme.sum()
        spectra = []
        for channel in range(n_channels):
            mean = 0.01 + snr[channel][:, None] * programme
            if gain is not None:
                mean = mean * np.broadcast_to(gain, (n_frames,))[:, None]
            drawn = rng.standard_gamma(SAMPLES_PER_FRAME, (n_frames, 100), dtype=np.float32)
            spectra.append((mean * drawn / SAMPLES_PER_FRAME * 1e-4).astype(np.float32))
        return FrameBlock(
            stretch,
            start_unix,
            0,
            FRAME_S,
            tuple(spectra),
            (None,) * n_channels,
            0.0,
            np.zeros(n_frames, dtype=np.float32),
            np.full(n_frames, 1e-2, dtype=np.float32),
        )

    @staticmethod
    def part(frames, start, stop):
        return FrameBlock(
            frames.stretch,
            frames.start_unix + start * FRAME_S,
            frames.first_frame + start,
            FRAME_S,
            tuple(power[start:stop] for power in frames.spectra),
            tuple(signal if signal is None else signal[start * 80 : stop * 80] for signal in frames.basebands),
            frames.baseband_rate_hz,
            frames.clipped[start:stop],
            frames.level[start:stop],
        )


@pytest.fixture(scope="session")
def night():
    return Night


@pytest.fixture
def rng():
    return np.random.default_rng(20_260_813)
