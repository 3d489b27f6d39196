"""The last seconds of samples: the very samples of the span, and no others."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from skyglint.signals.block import Block, Encoding
from skyglint.signals.options import SourceOptions
from skyglint.signals.sources import open_source
from skyglint.station.recent import Recent, Reread

CI16 = Encoding("ci16_le", np.dtype("<i2"), 0.0, 32768.0)
RATE = 1000.0


def block(index, count, stretch=0, start=500.0):
    values = np.arange(2 * index, 2 * (index + count), dtype="<i2")
    return Block(values, CI16, stretch, start, index, RATE, 1e8)


@given(st.floats(0.0, 4.0), st.floats(0.0, 2.0))
def test_an_excerpt_is_what_was_asked_for(offset, length):
    recent = Recent(10.0)
    for index in range(0, 4000, 250):
        recent.add(block(index, 250))
    excerpt = recent.excerpt(500.0 + offset, 500.0 + offset + length)
    first, last = round(offset * RATE), min(4000, round((offset + length) * RATE))
    if first >= last:
        assert excerpt is None or len(excerpt.values) <= 2
        return
    assert abs(excerpt.values[0] - 2 * first) <= 2
    assert abs(len(excerpt.values) - 2 * (last - first)) <= 4
    assert np.all(np.diff(excerpt.values) == 1)
    assert abs(excerpt.start_unix - 500.0 - excerpt.values[0] / 2 / RATE) < 1e-6


def test_old_samples_and_earlier_stretches_are_forgotten():
    recent = Recent(1.0)
    for index in range(0, 5000, 250):
        recent.add(block(index, 250))
    assert recent.excerpt(500.0, 501.0) is None
    assert recent.excerpt(504.0, 504.5) is not None
    recent.add(block(0, 250, stretch=1, start=600.0))
    assert recent.excerpt(504.0, 504.5) is None


def test_a_recording_is_read_again_by_the_true_rate(tmp_path):
    # A clock fast by 100 ppm: after an hour by the stated rate only 3599.64 s have passed.
    path = tmp_path / "long.ci16"
    count, rate, ppm = 400_000, 100.0, 100.0
    np.arange(2 * count, dtype="<i4").astype("<i2").tofile(path)
    recording = open_source(path, SourceOptions("ci16_le", rate, 1e8, 1000.0))
    reread = Reread(recording, ppm)
    for item in recording.blocks(100.0):
        reread.add(item)
    true_rate = rate * (1 + ppm * 1e-6)
    wanted = 360_000
    excerpt = reread.excerpt(1000.0 + wanted / true_rate, 1000.0 + (wanted + 50) / true_rate)
    assert len(excerpt.values) == 100
    assert excerpt.values[0] == np.int32(2 * wanted).astype("<i2")
    assert reread.excerpt(5e8, 6e8) is None
