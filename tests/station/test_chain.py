"""Coverage is true to the frame, through gaps, retunings and channels outside the band."""

import itertools

import numpy as np
import pytest

from skyglint.echoes.settings import DetectionSettings
from skyglint.signals.block import Block, Encoding, Gap
from skyglint.site import Channel
from skyglint.station.chain import Chain

CU8 = Encoding("cu8", np.dtype(np.uint8), 127.5, 127.5)
RATE_HZ = 240_000.0
CENTER_HZ = 98.0e6
START = 1_786_586_400.0
CHANNELS = [
    Channel(name="inside", role="target", kind="fm", frequency_hz=CENTER_HZ + 60e3, bandwidth_hz=100e3),
    Channel(name="outside", role="target", kind="fm", frequency_hz=CENTER_HZ + 2e6),
]


def blocks(seconds: float, stretch: int, start_unix: float, center_hz: float = CENTER_HZ, seed: int = 1):
    rng = np.random.default_rng(seed)
    count = int(RATE_HZ * seconds)
    values = np.clip(np.round(127.5 + 20 * rng.standard_normal(2 * count)), 0, 255).astype(np.uint8)
    size = 24_000
    for first in range(0, count, size):
        part = values[2 * first : 2 * (first + size)]
        yield Block(part, CU8, stretch, start_unix, first, RATE_HZ, center_hz)


def run(chain: Chain, items) -> list:
    heard = [step for item in items for step in chain.process(item)]
    return heard + chain.finish()


def merged(heard, channel):
    spans = []
    for span in (span for step in heard for span in step.coverage if span.channel == channel):
        if (
            spans
            and spans[-1][1] == pytest.approx(span.start_unix, abs=1e-6)
            and spans[-1][2:]
            == (
                span.state,
                span.reason,
            )
        ):
            spans[-1] = (spans[-1][0], span.end_unix, span.state, span.reason)
        else:
            spans.append((span.start_unix, span.end_unix, span.state, span.reason))
    return spans


def test_a_gap_is_lost_and_nothing_else():
    gap = Gap(START + 12.0, START + 15.5, "receiver lost samples")
    items = [*blocks(12.0, 0, START), gap, *blocks(5.0, 1, START + 15.5)]
    spans = merged(run(Chain(CHANNELS), items), "inside")
    assert [span[2] for span in spans] == ["watched", "lost", "watched"]
    (a, b, _, _), (c, d, _, reason), (e, f, _, _) = spans
    assert (a, e) == (pytest.approx(START), pytest.approx(START + 15.5))
    assert b == c  # what was too short for a frame before the gap is lost with it
    assert b == pytest.approx(START + 12.0, abs=0.021)
    assert (d, reason) == (START + 15.5, "receiver lost samples")
    assert f == pytest.approx(START + 20.5, abs=0.021)


def test_coverage_leaves_no_time_out_and_counts_none_twice():
    gap = Gap(START + 3.0, START + 4.0, "lost")
    heard = run(Chain(CHANNELS), [*blocks(3.0, 0, START), gap, *blocks(3.0, 1, START + 4.0)])
    for channel in ("inside", "outside"):
        spans = merged(heard, channel)
        for first, second in itertools.pairwise(spans):
            assert first[1] == pytest.approx(second[0], abs=1e-9)


def test_a_channel_outside_the_band_is_lost_and_says_where_the_band_is():
    spans = merged(run(Chain(CHANNELS), blocks(2.0, 0, START)), "outside")
    assert len(spans) == 1
    assert spans[0][2] == "lost"
    assert "97.880 to 98.120 MHz" in spans[0][3]


def test_a_retuning_brings_another_channel_in():
    items = [*blocks(2.0, 0, START), *blocks(2.0, 1, START + 2.0, center_hz=CENTER_HZ + 2e6)]
    heard = run(Chain(CHANNELS), items)
    assert [span[2] for span in merged(heard, "outside")] == ["lost", "watched"]
    assert [span[2] for span in merged(heard, "inside")] == ["watched", "lost"]
    names = {step.channels for step in heard if step.findings}
    assert names == {("inside",), ("outside",)}


def test_every_frame_comes_out_exactly_once():
    heard = run(Chain(CHANNELS, settings=DetectionSettings()), blocks(25.0, 0, START))
    findings = [found for step in heard for found in step.findings if found.excess.shape[1]]
    edges = [(found.start_unix, found.start_unix + found.excess.shape[1] * found.frame_s) for found in findings]
    for (_, end), (start, _) in itertools.pairwise(edges):
        assert end == pytest.approx(start, abs=1e-6)
    assert edges[0][0] == pytest.approx(START)
    assert edges[-1][1] == pytest.approx(START + 25.0, abs=0.021)


def test_samples_and_clipping_are_counted():
    chain = Chain(CHANNELS)
    values = np.full(2 * 240_000, 255, dtype=np.uint8)
    run(chain, [Block(values, CU8, 0, START, 0, RATE_HZ, CENTER_HZ)])
    assert chain.samples == 240_000
    assert chain.clipped == pytest.approx(240_000)
