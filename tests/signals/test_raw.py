"""Raw files: the extension or the user states the encoding, the user all the rest."""

import numpy as np
import pytest

from skyglint.errors import RequestError, SourceError
from skyglint.signals.block import Gap
from skyglint.signals.encodings import EXTENSIONS
from skyglint.signals.options import SourceOptions
from skyglint.signals.sources import open_source

SAID = {"sample_rate_hz": 1000.0, "center_frequency_hz": 98e6, "start_unix": 1786586400.0}


@pytest.mark.parametrize("extension", EXTENSIONS)
def test_the_extension_states_the_encoding(tmp_path, extension):
    path = tmp_path / f"night{extension}"
    path.write_bytes(bytes(1600))
    source = open_source(path, SourceOptions(**SAID))
    assert source.info.encoding == EXTENSIONS[extension]
    blocks = list(source.blocks(1.0))
    assert sum(block.n_samples for block in blocks) * blocks[0].encoding.bytes_per_sample == 1600


def test_blocks_are_views_with_exact_times(tmp_path):
    path = tmp_path / "night.iq"
    path.write_bytes(np.arange(20_000).astype(np.uint8).tobytes())
    source = open_source(path, SourceOptions(encoding="cu8", **SAID))
    blocks = list(source.blocks(0.25))
    assert [block.n_samples for block in blocks] == [250] * 40
    assert [block.start_unix - SAID["start_unix"] for block in blocks] == pytest.approx(np.arange(40) * 0.25)
    assert all(block.values.base is not None and block.values.dtype == np.uint8 for block in blocks)
    # A second pass reads the same.
    assert [block.sample_index for block in source.blocks(0.25)] == [block.sample_index for block in blocks]


def test_real_raw_samples_are_single_sideband_audio(tmp_path):
    path = tmp_path / "beacon.raw"
    path.write_bytes(np.full(100, 16_384, "<i2").tobytes())
    options = SourceOptions("ri16_le", 8000.0, None, 1.0, 50.5e6, "lsb")
    source = open_source(path, options)
    (block,) = source.blocks()
    assert (source.info.band_low_hz, source.info.band_high_hz) == (50.496e6, 50.5e6)
    # Half the rail is half of full scale; real samples count double.
    assert block.samples[0] == 1.0


def test_an_odd_byte_at_the_end(tmp_path):
    path = tmp_path / "night.cu8"
    path.write_bytes(bytes(2001))
    block, gap = open_source(path, SourceOptions(**SAID)).blocks(2.0)
    assert block.n_samples == 1000
    assert gap == Gap(1786586401.0, 1786586401.001, "the last sample is incomplete")


def test_all_that_is_missing_is_named_at_once(tmp_path):
    path = tmp_path / "night.iq"
    path.write_bytes(bytes(100))
    with pytest.raises(RequestError) as caught:
        open_source(path)
    assert str(caught.value) == (
        f"{path}: does not state how its samples are written, its sample rate, its centre frequency and when it "
        "starts: give them, for example --encoding cu8 --sample-rate-hz 2400000 --center-frequency-hz 98000000 "
        "--start 2026-08-13T02:00:00Z"
    )


@pytest.mark.parametrize(
    ("name", "content", "options", "message"),
    [
        ("night.cu8", b"", SAID, "holds no samples"),
        ("night.cu8", b"\x00", SAID, "holds no samples"),
        ("night.cu8", bytes(100), SAID | {"encoding": "ci8"}, "the extension states cu8, --encoding says ci8"),
        ("night.iq", bytes(100), SAID | {"encoding": "u8"}, 'encoding "u8" is unknown: expected one of cf32_be'),
        ("night.cu8", bytes(100), SAID | {"sideband": "usb"}, "holds I/Q; --sideband and"),
        ("night.cu8", bytes(100), {}, "its sample rate, its centre frequency and when it starts"),
        (
            "night.iq",
            bytes(100),
            {"encoding": "rf32_le"},
            "rate, the dial frequency of the receiver, the si",
        ),
        ("night.cf32", bytes(range(200, 256)) * 2, SAID, "does not hold cf32_le samples"),
    ],
)
def test_what_cannot_be_read_is_said(tmp_path, name, content, options, message):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises((RequestError, SourceError), match=message) as caught:
        open_source(path, SourceOptions(**options))
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("option", "value", "message"),
    [
        ("sample_rate_hz", 0.0, r"--sample-rate-hz = 0: expected 1 to 1e\+09"),
        ("sample_rate_hz", float("nan"), "--sample-rate-hz = nan: expected"),
        ("sample_rate_hz", float("inf"), "--sample-rate-hz = inf: expected"),
        ("center_frequency_hz", -98e6, "--center-frequency-hz = -9.8e"),
        ("start_unix", 1e12, r"--start = 1e\+12"),
        ("sideband", "dsb", '--sideband = "dsb": expected usb or lsb'),
    ],
)
def test_options_that_cannot_be_meant(option, value, message):
    with pytest.raises(RequestError, match=message):
        SourceOptions(**{option: value})


def test_files_that_are_not_there(tmp_path):
    with pytest.raises(RequestError, match="no such recording"):
        open_source(tmp_path / "night.cu8", SourceOptions(**SAID))
    with pytest.raises(RequestError, match="is a folder; expected a recording"):
        open_source(tmp_path, SourceOptions(**SAID))
