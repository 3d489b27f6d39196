"""Loading and compiling what the chain will need before the first samples come."""

from __future__ import annotations

import numpy as np

from skyglint.dsp.bank import FilterBank
from skyglint.signals.block import Block, Encoding
from skyglint.site import Channel


def warm_up(sample_rate_hz: float) -> None:
    """Run a little of everything once, so that the first seconds of samples do not have to wait for it."""
    from skyglint.fm.identity import identify

    values = np.full(2 * int(0.05 * sample_rate_hz), 127, dtype=np.uint8)
    channel = Channel(name="warm-up", role="target", kind="fm", frequency_hz=1e8, bandwidth_hz=sample_rate_hz / 4)
    encoding = Encoding("cu8", values.dtype, 127.5, 127.5)
    FilterBank([channel]).process(Block(values, encoding, 0, 0.0, 0, sample_rate_hz, 1e8))
    if sample_rate_hz >= 200_000:
        random = np.random.default_rng(0)
        identify(random.standard_normal(int(0.2 * sample_rate_hz)).astype(np.complex64), sample_rate_hz)
