"""Samples on standard input are those of a receiver: timed by their arrival, whole, and ended by the pipe's end."""

import io
import itertools
import struct

import numpy as np
import pytest

from skyglint.errors import RequestError
from skyglint.signals.block import Block, Gap
from skyglint.signals.live import LiveSource, Settings
from skyglint.signals.stream import Stream

RATE_HZ, T0 = 1000.0, 1_786_586_400.0
SETTINGS = Settings(98e6, RATE_HZ, None)


def wav(values, rate_hz=1000, channels=2, bits=16):
    """Return a stream as a recorder writes it: the sizes are not known yet (layout by the RIFF specification, 1991)."""
    size = channels * bits // 8
    form = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, channels, rate_hz, rate_hz * size, size, bits)
    return struct.pack("<4sI", b"RIFF", 0xFFFFFFFF) + b"WAVE" + form + struct.pack("<4sI", b"data", 0xFFFFFFFF) + values


class Trickle(io.RawIOBase):
    """Gives a few bytes at a time, at the pace of the samples."""

    def __init__(self, data, bytes_per_s):
        self.data, self.pace, self.given = io.BytesIO(data), bytes_per_s, 0
        self.sizes = itertools.cycle([1, 37, 200, 64])

    def read(self, n_bytes=-1):
        piece = self.data.read(min(n_bytes, next(self.sizes)))
        self.given += len(piece)
        return piece

    def now(self):
        return T0 + self.given / self.pace


def run(data, encoding, bytes_per_s):
    pipe = Trickle(data, bytes_per_s)
    source = LiveSource(Stream(pipe, "pipe", SETTINGS, encoding), pipe.now, monotonic=pipe.now, settle_s=0.0)
    return list(source.blocks(0.1))


def values_of(items):
    return np.concatenate([item.values for item in items if isinstance(item, Block)])


def test_raw_samples_arrive_whole_and_are_timed_by_their_arrival():
    sent = np.random.default_rng(1).integers(0, 256, 2 * 5_000, dtype=np.uint8)
    items = run(sent.tobytes(), "cu8", 2 * RATE_HZ)
    assert np.array_equal(values_of(items), sent)
    assert items[0].start_unix == pytest.approx(T0, abs=0.05)
    assert not any(isinstance(item, Gap) for item in items)


def test_a_wav_stream_says_how_it_is_written():
    sent = np.random.default_rng(2).integers(-2_000, 2_000, 2 * 3_000).astype("<i2")
    items = run(wav(sent.tobytes()), "ci16_le", 4 * RATE_HZ)
    assert np.array_equal(values_of(items), sent)


def test_floats_that_are_no_numbers_are_lost():
    sent = np.random.default_rng(3).normal(0, 0.1, 2 * 3_000).astype("<f4")
    sent[2_500] = np.nan
    items = run(sent.tobytes(), "cf32_le", 8 * RATE_HZ)
    assert sum(isinstance(item, Gap) for item in items) == 1
    assert np.isfinite(values_of(items)).all()


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (wav(b"\0" * 400), 'states ci16_le: expected cu8; write encoding = "ci16_le" into'),
        (wav(b"\0" * 400, bits=8, rate_hz=48_000), "states 48000 samples a second: expected sample_rate_hz = 1000"),
        (wav(b"\0" * 400, channels=1), "states 1 channel of i16_le: expected 2, I and Q"),
        (wav(b"\0" * 600, bits=24), "states 2 channels of i24_le: expected 2, I and Q, of 8, 16 or 32 bits"),
    ],
)
def test_a_wav_stream_that_is_not_what_the_site_file_says(data, message):
    with pytest.raises(RequestError, match=message):
        Stream(io.BytesIO(data), "standard input", SETTINGS, "cu8")


def test_a_pipe_that_holds_nothing_and_an_unknown_datatype():
    with pytest.raises(RequestError, match="standard input: ended before any sample came"):
        Stream(io.BytesIO(b""), "standard input", SETTINGS, "cu8")
    with pytest.raises(RequestError, match="cu9"):
        Stream(io.BytesIO(bytes(100)), "standard input", SETTINGS, "cu9")
