"""WAV files: samples against libsndfile's own reading, headers of every form, and what receivers leave behind."""

import struct

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from skyglint.errors import RequestError, SourceError
from skyglint.signals.block import Block, Gap
from skyglint.signals.options import SourceOptions
from skyglint.signals.sigmf_writer import SigMFWriter
from skyglint.signals.sources import open_source

START_UNIX = 1786586400.0
IQ = SourceOptions(center_frequency_hz=98e6, start_unix=START_UNIX)
USB = SourceOptions(dial_frequency_hz=143.049e6, sideband="usb", start_unix=START_UNIX)


def samples_of(source, block_s=0.1):
    return np.concatenate([item.samples for item in source.blocks(block_s) if isinstance(item, Block)])


def riff(data, *, data_size=None, riff_size=None, channels=2, rate_hz=48_000, bits=16, tag=1, extra=b""):
    frame = channels * bits // 8
    form = struct.pack("<4sIHHIIHH", b"fmt ", 16, tag, channels, rate_hz, rate_hz * frame, frame, bits)
    body = form + extra + struct.pack("<4sI", b"data", len(data) if data_size is None else data_size) + data
    size = len(body) + 4 if riff_size is None else riff_size
    return struct.pack("<4sI4s", b"RIFF", size, b"WAVE") + body


@pytest.mark.parametrize("container", ["WAV", "WAVEX", "RF64", "W64"])
@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT"])
@pytest.mark.parametrize("channels", [1, 2])
def test_samples_are_those_that_libsndfile_reads(tmp_path, container, subtype, channels):
    values = np.random.default_rng(7).uniform(-1, 1, (3000, channels))
    path = tmp_path / "night.wav"
    soundfile.write(path, values, 48_000, format=container, subtype=subtype)
    outside, _ = soundfile.read(path, dtype="float32", always_2d=True)
    source = open_source(path, IQ if channels == 2 else USB)
    samples = samples_of(source, 0.013)
    if channels == 2:
        assert np.array_equal(samples, outside[:, 0] + 1j * outside[:, 1])
    else:
        # Real samples run to 2, so that the half of the spectrum that is true holds a tone's own power.
        assert np.array_equal(samples, 2 * outside[:, 0] + 0j)
    assert source.info.end_unix == pytest.approx(START_UNIX + 3000 / 48_000)


@settings(max_examples=40, deadline=None)
@given(data=st.binary(min_size=4, max_size=400), block_s=st.floats(1e-5, 1e-2))
def test_any_values_cut_into_any_blocks_read_back_the_same(tmp_path_factory, data, block_s):
    path = tmp_path_factory.mktemp("wav") / "night.wav"
    path.write_bytes(riff(data))
    blocks = [item for item in open_source(path, IQ).blocks(block_s) if isinstance(item, Block)]
    whole = data[: len(data) - len(data) % 4]
    assert b"".join(block.values.tobytes() for block in blocks) == whole


@pytest.mark.parametrize(
    ("sideband", "low_hz", "high_hz"), [("usb", 143.049e6, 143.053e6), ("lsb", 143.045e6, 143.049e6)]
)
def test_audio_of_a_sideband_becomes_radio_hertz_at_its_own_power(tmp_path, sideband, low_hz, high_hz):
    # A tone of full scale at 1 kHz; its mean square is 1/2, its power as a carrier 1.
    rate_hz, n_samples = 8_000, 8_000
    tone = np.cos(2 * np.pi * 1_000 * np.arange(n_samples) / rate_hz)
    soundfile.write(tmp_path / "beacon.wav", tone, rate_hz, subtype="FLOAT")
    options = SourceOptions(dial_frequency_hz=143.049e6, sideband=sideband, start_unix=START_UNIX)
    source = open_source(tmp_path / "beacon.wav", options)
    assert (source.info.band_low_hz, source.info.band_high_hz) == (low_hz, high_hz)
    power = np.abs(np.fft.fft(samples_of(source)) / n_samples) ** 2
    radio_hz = source.info.center_frequency_hz + np.fft.fftfreq(n_samples, 1 / rate_hz)
    kept = (radio_hz > low_hz) & (radio_hz < high_hz)
    assert radio_hz[kept][np.argmax(power[kept])] == 143.049e6 + (1_000 if sideband == "usb" else -1_000)
    assert power[kept].sum() == pytest.approx(1.0, rel=1e-5)


@pytest.mark.parametrize("size", [0, 0xFFFFFFFF, 0x7FFFF000, 0x80000000])
def test_a_header_that_was_never_completed_is_used_up_to_the_end_of_the_file(tmp_path, size):
    path = tmp_path / "night.wav"
    path.write_bytes(riff(bytes(4000), data_size=size, riff_size=size))
    (block,) = open_source(path, IQ).blocks()
    assert block.n_samples == 1000


def test_a_truncated_file_ends_with_a_gap_to_its_stated_end(tmp_path):
    path = tmp_path / "night.wav"
    path.write_bytes(riff(bytes(4000), data_size=192_000))
    source = open_source(path, IQ)
    *blocks, gap = source.blocks()
    assert sum(block.n_samples for block in blocks) == 1000
    assert gap == Gap(START_UNIX + 1000 / 48_000, START_UNIX + 1.0, "recording ends before its stated length")
    assert source.info.end_unix == START_UNIX + 1.0


def test_chunks_around_the_samples_are_not_samples(tmp_path):
    path = tmp_path / "night.wav"
    odd = struct.pack("<4sI", b"note", 3) + b"abc\0"
    path.write_bytes(riff(bytes(range(200)), extra=odd) + struct.pack("<4sI", b"LIST", 4) + b"INFO")
    (block,) = open_source(path, IQ).blocks()
    assert block.values.tobytes() == bytes(range(200))


def sparse(path, head, n_bytes):
    with path.open("wb") as file:
        file.write(head)
        file.truncate(len(head) + n_bytes)


def test_files_beyond_four_gibibytes_read_whole(tmp_path):
    n_bytes = 5 << 30
    form = struct.pack("<HHIIHH", 1, 2, 2_400_000, 9_600_000, 4, 16)
    head = struct.pack("<4sI4s", b"RF64", 0xFFFFFFFF, b"WAVE")
    head += struct.pack("<4sIQQQI", b"ds64", 28, n_bytes + 72, n_bytes, n_bytes // 4, 0)
    head += struct.pack("<4sI", b"fmt ", 16) + form + struct.pack("<4sI", b"data", 0xFFFFFFFF)
    sparse(tmp_path / "rf64.wav", head, n_bytes)
    sparse(tmp_path / "bw64.wav", b"BW64" + head[4:], n_bytes)

    tail = bytes.fromhex("f3acd3118cd100c04f8edb8a")
    w64 = bytes.fromhex("726966662e91cf11a5d628db04c10000") + struct.pack("<Q", n_bytes + 104) + b"wave" + tail
    w64 += b"fmt " + tail + struct.pack("<Q", 40) + form + b"data" + tail + struct.pack("<Q", n_bytes + 24)
    sparse(tmp_path / "night.w64", w64, n_bytes)

    # A recorder that went on beyond what its 32-bit sizes can say.
    overflowed = riff(b"", data_size=n_bytes & 0xFFFFFFFF, rate_hz=2_400_000)
    sparse(tmp_path / "riff.wav", overflowed, n_bytes)

    for name in ("rf64.wav", "bw64.wav", "night.w64", "riff.wav"):
        info = open_source(tmp_path / name, IQ).info
        assert info.end_unix - info.start_unix == pytest.approx(n_bytes / 4 / 2.4e6, abs=1e-5), name
    # The fingerprint covers the last samples, so it tells whether they are found that far out.
    before = open_source(tmp_path / "rf64.wav", IQ).info.fingerprint
    assert before == open_source(tmp_path / "bw64.wav", IQ).info.fingerprint
    with (tmp_path / "rf64.wav").open("r+b") as file:
        file.seek(len(head) + n_bytes - 4)
        file.write(struct.pack("<hh", 1234, -1234))
    assert before != open_source(tmp_path / "rf64.wav", IQ).info.fingerprint


def test_a_date_without_a_time_zone_is_shown_and_not_used(tmp_path):
    bext = struct.pack("<4sI", b"bext", 602) + b"\0" * 320 + b"2026-08-13" + b"02:00:00" + b"\0" * 264
    path = tmp_path / "night.wav"
    path.write_bytes(riff(bytes(400), extra=bext))
    with pytest.raises(RequestError, match=r"made 2026-08-13 02:00:00 says its bext chunk"):
        open_source(path, SourceOptions(center_frequency_hz=98e6))


def test_sigmf_metadata_beside_the_file_states_what_it_cannot(tmp_path):
    path = tmp_path / "night.wav"
    head = riff(b"", data_size=4000)
    path.write_bytes(head + bytes(4000))
    with SigMFWriter(tmp_path / "night", ci16(), 48_000.0, fields={"core:dataset": "night.wav"}) as writer:
        writer.capture(START_UNIX, 98e6)
        writer.write(np.zeros(2000, "<i2"))
    (tmp_path / "night.sigmf-data").unlink()
    meta = (tmp_path / "night.sigmf-meta").read_text()
    meta = meta.replace('"core:sample_start": 0', f'"core:sample_start": 0, "core:header_bytes": {len(head)}')
    (tmp_path / "night.sigmf-meta").write_text(meta)
    for name in ("night.wav", "night.sigmf-meta"):
        source = open_source(tmp_path / name)
        assert (source.info.start_unix, source.info.center_frequency_hz) == (START_UNIX, 98e6)
        (block,) = source.blocks()
        assert block.n_samples == 1000


def ci16():
    from skyglint.signals.encodings import ENCODINGS

    return ENCODINGS["ci16_le"]


@pytest.mark.parametrize(
    ("content", "options", "message"),
    [
        (b"this is a letter, not a sound", IQ, r"not a WAV file: starts with b'this is a le', expected RIFF"),
        (b"", IQ, r"ends within its WAV header \(0 bytes\)"),
        (riff(bytes(400))[:30], IQ, r"ends within its WAV header \(30 bytes\)"),
        (riff(b""), IQ, "holds no samples"),
        (riff(bytes(400), rate_hz=0), IQ, "sample rate = 0: expected a number from 1 to"),
        (riff(bytes(400), channels=4), IQ, "has 4 channels: expected 2"),
        (riff(bytes(400), channels=0, bits=0), IQ, "WAV format 1 with 0 channels"),
        (riff(bytes(400), tag=7, bits=8), IQ, "WAV format 7 with 2 channels in 2 bytes: expected integers"),
        (riff(bytes(400), tag=3, bits=64), IQ, "WAV format 3 with 2 channels in 16 bytes: expected integers"),
        (riff(bytes(400)).replace(b"fmt ", b"junk"), IQ, "its fmt chunk has 0 bytes"),
        (
            riff(bytes(400)),
            SourceOptions(start_unix=1.0),
            "not state its centre frequency: .*--center-freq",
        ),
        (riff(bytes(400)), SourceOptions(center_frequency_hz=9e7), "does not state when it starts: .*--start 2026"),
        (riff(bytes(400), channels=1), IQ, "holds audio: give --dial-frequency-hz instead"),
        (riff(bytes(400), channels=1), SourceOptions(start_unix=1.0), "dial frequency of the receiver and .*--dial"),
        (
            riff(bytes(400), channels=1),
            SourceOptions(start_unix=1.0, dial_frequency_hz=1e8),
            r"the sideband \(usb or lsb\): .*--sideband usb",
        ),
        (riff(bytes(400)), USB, "holds I/Q; --sideband and --dial-frequency-hz are for audio"),
        (
            riff(bytes(400)),
            SourceOptions(center_frequency_hz=9e7, start_unix=1.0, sample_rate_hz=44_100.0),
            "its header states 48000.0, --sample-rate-hz says 44100.0: leave the option out",
        ),
    ],
)
def test_what_cannot_be_read_is_said_in_one_line(tmp_path, content, options, message):
    path = tmp_path / "night.wav"
    path.write_bytes(content)
    with pytest.raises((SourceError, RequestError), match=message) as caught:
        open_source(path, options)
    assert "\n" not in str(caught.value)
    assert str(path) in str(caught.value)
