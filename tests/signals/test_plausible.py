"""Values that are no numbers are lost with their cell, whatever the blocks."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skyglint.errors import SourceError
from skyglint.signals.block import Block, Gap
from skyglint.signals.encodings import ENCODINGS, encode
from skyglint.signals.options import SourceOptions
from skyglint.signals.plausible import lose_padding
from skyglint.signals.sigmf_writer import SigMFWriter
from skyglint.signals.sources import open_source

START_UNIX = 1786586400.0
RATE_HZ = 1000.0
CELL = 10
REASON = "values that are no numbers (NaN, infinite or absurd)"


@pytest.fixture(scope="module")
def path(tmp_path_factory):
    return tmp_path_factory.mktemp("floats") / "night.cf32"


def read(path, values, block_s=0.1):
    values.tofile(path)
    return list(open_source(path, SourceOptions(None, RATE_HZ, 98e6, START_UNIX)).blocks(block_s))


def clean(n_samples):
    return encode(np.exp(0.1j * np.arange(n_samples)), ENCODINGS["cf32_le"])


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 1e13, -3e38])
@pytest.mark.parametrize("part", [0, 1])
def test_one_bad_value_loses_its_cell_and_no_more(path, bad, part):
    values = clean(500)
    values[2 * 123 + part] = bad
    before, gap, *after = read(path, values, 0.5)
    assert gap == Gap(START_UNIX + 0.12, START_UNIX + 0.13, REASON)
    assert (before.stretch, before.n_samples) == (0, 120)
    assert [(block.stretch, block.sample_index, block.n_samples) for block in after] == [(1, 0, 370)]
    assert after[0].start_unix == pytest.approx(START_UNIX + 0.13)
    assert np.isfinite(after[0].values).all()


def test_large_values_of_a_recording_that_was_never_scaled_are_kept(path):
    (block,) = read(path, clean(50) * np.float32(2**31))
    assert block.n_samples == 50


@settings(max_examples=80, deadline=None)
@given(
    n_samples=st.integers(1, 400),
    bad=st.lists(st.integers(0, 399), max_size=30),
    block_s=st.floats(0.001, 0.5),
)
def test_the_cut_into_blocks_changes_nothing(path, n_samples, bad, block_s):
    bad = [index for index in bad if index < n_samples][: n_samples // 3]
    values = clean(n_samples)
    values[[2 * index for index in bad]] = np.nan
    items = read(path, values, block_s)
    lost = np.zeros(n_samples, bool)
    for index in bad:
        lost[index // CELL * CELL : (index // CELL + 1) * CELL] = True
    # Every sample that is not lost arrives once, at its time, and every lost cell is within a gap.
    arrived = np.zeros(n_samples, int)
    stretches = []
    for item in items:
        start = round((item.start_unix - START_UNIX) * RATE_HZ)
        if isinstance(item, Block):
            arrived[start : start + item.n_samples] += 1
            assert np.array_equal(item.values, values[2 * start : 2 * (start + item.n_samples)])
            stretches.append(item.stretch)
        else:
            end = round((item.end_unix - START_UNIX) * RATE_HZ)
            assert lost[start:end].all()
            assert start == 0 or not lost[start - 1]
            assert end == n_samples or not lost[end]
    assert np.array_equal(arrived, ~lost)
    assert sorted(set(stretches)) == list(range(len(set(stretches))))
    assert stretches == sorted(stretches)


def test_a_bad_start_after_a_gap_or_a_retuning(tmp_path):
    values = clean(200)
    values[:2] = np.nan
    with SigMFWriter(tmp_path / "night", ENCODINGS["cf32_le"], RATE_HZ) as writer:
        for start_s, center_hz in ((0.0, 98e6), (5.0, 98e6), (5.2, 99e6)):
            writer.capture(START_UNIX + start_s, center_hz)
            writer.write(values)
    items = list(open_source(tmp_path / "night").blocks(1.0))
    seen = [(type(i).__name__, getattr(i, "stretch", None), round(i.start_unix - START_UNIX, 6)) for i in items]
    assert seen == [
        ("Gap", None, 0.0),
        ("Block", 0, 0.01),
        ("Gap", None, 0.2),
        ("Gap", None, 5.0),
        ("Block", 1, 5.01),
        ("Gap", None, 5.2),
        ("Block", 2, 5.21),
    ]


@pytest.mark.parametrize("level", [1, 20, 60, 64, 90, 127])
def test_bytes_of_any_level_taken_for_floats_are_refused(path, level):
    tone = level * np.exp(0.37j * np.arange(20_000))
    np.rint(127.5 + np.column_stack([tone.real, tone.imag])).astype(np.uint8).tofile(path)
    with pytest.raises(SourceError, match="does not hold cf32_le samples"):
        open_source(path, SourceOptions(None, RATE_HZ, 98e6, START_UNIX))


def test_a_recording_that_only_begins_with_none_is_kept(path):
    values = clean(100_000)
    values[:80_000] = np.nan
    gap, *blocks = read(path, values, 1.0)
    assert gap == Gap(START_UNIX, START_UNIX + 40, REASON)
    assert sum(block.n_samples for block in blocks) == 60_000


def padded(length, pads, seed=1):
    """Return a recording's raw values, 1,000 samples a second, with one value in the given spans of samples."""
    values = np.random.default_rng(seed).integers(100, 156, 2 * length, dtype=np.uint8)
    for first, last in pads:
        values[2 * first : 2 * last] = 127
    return values


def cut(values, size):
    for first in range(0, len(values) // 2, size):
        part = values[2 * first : 2 * (first + size)]
        yield Block(part, ENCODINGS["cu8"], 0, 1000.0, first, 1000.0, 98e6)


@settings(max_examples=60, deadline=None)
@given(
    pads=st.lists(st.tuples(st.integers(0, 2_900), st.integers(0, 400)), max_size=3),
    size=st.sampled_from([50, 100, 330, 1_000]),
)
def test_padding_is_lost_to_a_cell_and_all_else_is_kept(pads, size):
    cell = 10
    spans = [(first, min(first + length, 3_000)) for first, length in pads]
    is_pad = np.zeros(3_000, bool)
    for first, last in spans:
        is_pad[first:last] = True
    values = padded(3_000, spans)
    items = list(lose_padding(cut(values, size), cell))
    kept = np.zeros(3_000, bool)
    end_unix = 1000.0
    for item in items:
        assert item.start_unix == pytest.approx(end_unix, abs=1e-9)
        if isinstance(item, Gap):
            end_unix = item.end_unix
            continue
        first = round((item.start_unix - 1000.0) * 1000.0)
        end_unix = item.start_unix + item.n_samples / 1000.0
        assert np.array_equal(item.values, values[2 * first : 2 * (first + item.n_samples)])
        kept[first : first + item.n_samples] = True
    assert end_unix == pytest.approx(1003.0)
    # Nothing but padding is lost, a cell at its edge and the rest of a block excepted; whole cells of it are all lost.
    near = np.convolve(is_pad, np.ones(4 * cell + 1), mode="same") > 0
    assert kept[~near].all()
    edges = np.flatnonzero(np.diff(np.concatenate([[0], (kept & is_pad).astype(int), [0]])))
    assert (edges[1::2] - edges[::2]).max(initial=0) < 3 * cell


def test_a_quiet_receiver_is_not_padding():
    values = np.full(2_000, 127, np.uint8)
    values[::25] = 128
    assert all(isinstance(item, Block) for item in lose_padding(cut(values, 100), 20))
