"""Pipes deliver what the same bytes in a file deliver."""

import io
import os
import struct
import sys
import threading

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from skyglint.errors import RequestError, SourceError
from skyglint.signals.block import Block, Gap
from skyglint.signals.options import SourceOptions
from skyglint.signals.pipe import Pipe
from skyglint.signals.sources import open_source

RAW = SourceOptions("cu8", 1000.0, 98e6, 1786586400.0)
WAV = SourceOptions(center_frequency_hz=98e6, start_unix=1786586400.0)


class Trickle(io.RawIOBase):
    """A pipe that gives a few bytes at a time."""

    def __init__(self, data, steps):
        self._data, self._steps = io.BytesIO(data), steps

    def read(self, n_bytes=-1):
        self._steps = self._steps[1:] + self._steps[:1]
        return self._data.read(min(n_bytes, self._steps[0]))


def wav(data, size=None):
    form = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 2, 1000, 4000, 4, 16)
    head = b"WAVE" + form + struct.pack("<4sI", b"data", len(data) if size is None else size)
    return struct.pack("<4sI", b"RIFF", len(head) + len(data)) + head + data


@settings(max_examples=50, deadline=None)
@given(
    data=st.binary(min_size=1, max_size=300),
    steps=st.lists(st.integers(1, 40), min_size=1, max_size=5),
    block_s=st.floats(0.001, 0.2),
)
def test_whatever_pieces_it_comes_in_the_samples_are_the_same(data, steps, block_s):
    items = list(Pipe(Trickle(data, steps), "pipe", RAW).blocks(block_s))
    values = b"".join(item.values.tobytes() for item in items if isinstance(item, Block))
    assert values == data[: len(data) // 2 * 2]
    assert [item.reason for item in items if isinstance(item, Gap)] == ["the last sample is incomplete"] * (
        len(data) % 2
    )


def test_a_wav_pipe_states_its_form():
    values = np.arange(100, dtype="<i2")
    pipe = Pipe(Trickle(wav(values.tobytes() + b""), [7]), "pipe", WAV)
    (block,) = pipe.blocks()
    assert np.array_equal(block.values, values)
    assert (pipe.info.encoding, pipe.info.sample_rate_hz) == ("ci16_le", 1000.0)
    # What follows the samples is none of them.
    (block,) = Pipe(io.BytesIO(wav(bytes(40)) + b"LIST"), "pipe", WAV).blocks()
    assert block.n_samples == 10


def test_a_wav_pipe_without_a_size_runs_to_its_end_and_a_short_one_leaves_a_gap():
    (block,) = Pipe(io.BytesIO(wav(bytes(400), 0xFFFFFFFF)), "pipe", WAV).blocks()
    assert block.n_samples == 100
    block, gap = Pipe(io.BytesIO(wav(bytes(400), 800)), "pipe", WAV).blocks()
    assert gap == Gap(1786586400.1, 1786586400.2, "recording ends before its stated length")


def test_standard_input_and_named_pipes(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(bytes(2000))))
    assert [block.n_samples for block in open_source("-", RAW).blocks(0.5)] == [500, 500]
    path = tmp_path / "pipe"
    os.mkfifo(path)
    writer = threading.Thread(target=path.write_bytes, args=(bytes(2000),))
    writer.start()
    assert [block.n_samples for block in open_source(path, RAW).blocks(0.5)] == [500, 500]
    writer.join()


def test_what_a_pipe_cannot_do():
    pipe = Pipe(io.BytesIO(bytes(100)), "standard input", RAW)
    list(pipe.blocks())
    with pytest.raises(SourceError, match="standard input: a pipe can be read only once"):
        pipe.blocks()
    with pytest.raises(SourceError, match="standard input: holds no samples"):
        Pipe(io.BytesIO(b""), "standard input", RAW)
    with pytest.raises(
        RequestError, match="how its samples are written, its sample rate, its centre frequency and when"
    ):
        Pipe(io.BytesIO(bytes(100)), "standard input", SourceOptions())
    with pytest.raises(SourceError, match="ends within its WAV header"):
        Pipe(io.BytesIO(wav(b"")[:30]), "standard input", WAV)
