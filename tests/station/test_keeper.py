"""Strips and floors are thinned the same however the findings are cut, and never across a break."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.echoes.echo import Findings
from skyglint.station.chain import Heard
from skyglint.station.keeper import FLOOR_FRAMES, STRIP_FRAMES, Keeper

NAMES = ("a", "b")
FRAME_S = 0.01


class Writer:
    def __init__(self):
        self.strips = {name: [] for name in NAMES}
        self.floors = {name: [] for name in NAMES}
        self.steps = set()

    def add_coverage(self, spans):
        pass

    def add_echoes(self, echoes, tags_of):
        pass

    def add_strip(self, channel, start_unix, step_s, power_db):
        self.strips[channel] += [(start_unix + k * step_s, value) for k, value in enumerate(power_db)]
        self.steps.add(step_s)

    def add_floor(self, channel, start_unix, step_s, floor_db):
        self.floors[channel] += [(start_unix + k * step_s, value) for k, value in enumerate(floor_db)]


def heard(start, excess, floor):
    return Heard(NAMES, (Findings(start, FRAME_S, floor, excess, ()),))


def kept(pieces):
    writer = Writer()
    keeper = Keeper(writer)
    for start, excess, floor in pieces:
        keeper.keep(heard(start, excess, floor))
    keeper.finish()
    return writer


def series(n, seed=2):
    rng = np.random.default_rng(seed)
    excess = rng.normal(0, 0.02, (2, n)).astype(np.float32)
    excess[1, n // 3] = 99.0
    return excess, rng.uniform(1e-3, 2e-3, (2, n)).astype(np.float32)


@given(cuts=st.lists(st.integers(1, 2344), max_size=8, unique=True).map(sorted))
def test_cutting_changes_nothing(cuts):
    excess, floor = series(2345)
    edges = [0, *cuts, 2345]
    pieces = [(1000.0 + a * FRAME_S, excess[:, a:b], floor[:, a:b]) for a, b in itertools.pairwise(edges)]
    whole, cut = kept([(1000.0, excess, floor)]), kept(pieces)
    for name in NAMES:
        np.testing.assert_allclose(cut.strips[name], whole.strips[name], rtol=0, atol=2e-6)
        np.testing.assert_allclose(cut.floors[name], whole.floors[name], rtol=0, atol=2e-5)


def test_a_reading_is_the_strongest_frame_and_the_floor_the_mean():
    excess, floor = series(3000)
    writer = kept([(1000.0, excess, floor)])
    strip = np.array([value for _, value in writer.strips["b"]])
    assert len(strip) == 3000 // STRIP_FRAMES
    assert strip.max() == pytest.approx(20.0, abs=1e-4)  # a power 100 times the floor
    assert strip.argmax() == 1000 // STRIP_FRAMES
    levels = np.array([value for _, value in writer.floors["a"]])
    expected = 10 * np.log10(floor[0].reshape(-1, FLOOR_FRAMES).mean(axis=1, dtype=np.float64))
    np.testing.assert_allclose(levels, expected, atol=1e-4)


def test_no_reading_crosses_a_break():
    excess, floor = series(25)
    later = 2000.0
    writer = kept([(1000.0, excess, floor), (later, excess, floor)])
    times = [time for time, _ in writer.strips["a"]]
    assert times == pytest.approx([1000.0, 1000.1, 1000.2, later, later + 0.1, later + 0.2])
