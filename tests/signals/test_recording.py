"""Streaming: constant memory however long the recording is."""

import tracemalloc

from skyglint.signals.options import SourceOptions
from skyglint.signals.sources import open_source


def test_a_long_recording_streams_in_constant_memory(tmp_path):
    # A minute at 2.4 MS/s, as a file with nothing on the disk behind it.
    path = tmp_path / "night.cu8"
    with path.open("wb") as file:
        file.truncate(60 * 4_800_000)
    source = open_source(path, SourceOptions(None, 2.4e6, 98e6, 1786586400.0))
    tracemalloc.start()
    n_samples = sum(block.n_samples for block in source.blocks())
    _, peak_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert n_samples == 60 * 2_400_000
    # Two blocks of 0.1 s at a time, of 480 kB each, and little else.
    assert peak_bytes < 2_000_000
