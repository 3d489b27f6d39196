"""What the writer writes is valid SigMF, and reads back as it was."""

import json

import jsonschema
import numpy as np
import pytest
import sigmf.schema
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from skyglint.errors import RequestError, SourceError
from skyglint.signals.block import Block, Gap
from skyglint.signals.encodings import ENCODINGS, encode
from skyglint.signals.sigmf_writer import SigMFWriter
from skyglint.signals.sources import open_source

START_UNIX = 1786586400.0449


def noise(n_samples, seed=1):
    rng = np.random.default_rng(seed)
    return (0.3 * (rng.normal(size=n_samples) + 1j * rng.normal(size=n_samples))).astype(np.complex64)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    name=st.sampled_from([name for name in ENCODINGS if name.startswith("c")]),
    n_samples=st.integers(1, 3000),
    block_s=st.floats(1e-4, 0.2),
    start_unix=st.floats(1e9, 4e9),
)
def test_any_encoding_cut_into_any_blocks_reads_back_the_same(tmp_path, name, n_samples, block_s, start_unix):
    raw = encode(noise(n_samples), ENCODINGS[name])
    with SigMFWriter(tmp_path / "night", ENCODINGS[name], 48_000.0, force=True) as writer:
        writer.capture(start_unix, 98e6)
        writer.write(raw[: 2 * (n_samples // 3)])
        writer.write(raw[2 * (n_samples // 3) :])
    source = open_source(tmp_path / "night.sigmf-meta")
    blocks = list(source.blocks(block_s))
    assert all(isinstance(block, Block) and block.stretch == 0 for block in blocks)
    assert np.array_equal(np.concatenate([block.values for block in blocks]), raw)
    assert [block.sample_index for block in blocks] == list(np.cumsum([0] + [block.n_samples for block in blocks[:-1]]))
    # The time survives to the last bit of a double.
    assert source.info.start_unix == start_unix
    assert source.info.end_unix == pytest.approx(start_unix + n_samples / 48_000.0, abs=1e-6)


def test_the_metadata_satisfies_the_schema_of_the_specification(tmp_path):
    with SigMFWriter(tmp_path / "night", ENCODINGS["cu8"], 2_400_000.0, fields={"core:hw": "dipole"}) as writer:
        writer.capture(START_UNIX, 98e6)
        writer.write(encode(noise(100), ENCODINGS["cu8"]))
        writer.capture(START_UNIX + 10, 99e6)
        writer.write(encode(noise(100), ENCODINGS["cu8"]))
    meta = json.loads((tmp_path / "night.sigmf-meta").read_text())
    jsonschema.validate(meta, sigmf.schema.get_schema())
    # An independent reader finds the same samples at the same places.
    outside = sigmf.fromfile(str(tmp_path / "night.sigmf-meta"))
    assert outside.sample_count == 200
    assert outside.get_capture_info(50)["core:frequency"] == 98e6
    assert outside.get_capture_info(150)["core:frequency"] == 99e6


def test_captures_become_stretches_and_gaps(tmp_path):
    with SigMFWriter(tmp_path / "night", ENCODINGS["cu8"], 1000.0) as writer:
        for start_unix, center_hz in ((0.0, 98e6), (1.0, 98e6), (5.0, 98e6), (6.0, 99e6)):
            writer.capture(START_UNIX + start_unix, center_hz)
            writer.write(np.full(2000, 127, np.uint8))
    items = list(open_source(tmp_path / "night").blocks(10.0))
    blocks = [item for item in items if isinstance(item, Block)]
    assert [block.stretch for block in blocks] == [0, 0, 1, 2]
    assert [block.start_unix - START_UNIX for block in blocks] == pytest.approx([0, 1, 5, 6])
    assert [block.center_frequency_hz for block in blocks] == [98e6, 98e6, 98e6, 99e6]
    (gap,) = (item for item in items if isinstance(item, Gap))
    assert (gap.start_unix - START_UNIX, gap.end_unix - START_UNIX) == pytest.approx((2.0, 5.0))


def test_nothing_is_overwritten_without_force(tmp_path):
    (tmp_path / "night.sigmf-data").write_bytes(b"precious")
    with pytest.raises(RequestError, match=r"night\.sigmf-data: exists; give --force"):
        SigMFWriter(tmp_path / "night", ENCODINGS["cu8"], 1000.0)
    assert (tmp_path / "night.sigmf-data").read_bytes() == b"precious"


def test_an_exception_discards_and_leaves_the_old_recording_alone(tmp_path):
    def write(level, fail):
        with SigMFWriter(tmp_path / "night", ENCODINGS["cu8"], 1000.0, force=True) as writer:
            writer.capture(START_UNIX, 98e6)
            writer.write(np.full(20, level, np.uint8))
            if fail:
                raise KeyboardInterrupt

    write(1, fail=False)
    with pytest.raises(KeyboardInterrupt):
        write(2, fail=True)
    assert (tmp_path / "night.sigmf-data").read_bytes() == b"\x01" * 20
    assert sorted(path.name for path in tmp_path.iterdir()) == ["night.sigmf-data", "night.sigmf-meta"]


def test_a_folder_that_is_not_there_and_a_full_disk_are_said(tmp_path):
    with pytest.raises(RequestError, match="cannot be written: No such file or directory"):
        SigMFWriter(tmp_path / "nowhere" / "night", ENCODINGS["cu8"], 1000.0)

    class Full:
        def write(self, data):
            raise OSError(28, "No space left on device")

        def close(self):
            pass

    def write():
        with SigMFWriter(tmp_path / "night", ENCODINGS["cu8"], 1000.0) as writer:
            writer.capture(START_UNIX, 98e6)
            writer._file.close()
            writer._file = Full()
            writer.write(np.zeros(2, np.uint8))

    with pytest.raises(SourceError, match="writing failed: No space left on device"):
        write()
    assert not list(tmp_path.iterdir())


def test_archives_and_values_of_another_type_are_refused(tmp_path):
    with pytest.raises(RequestError, match="archives are read, not written"):
        SigMFWriter(tmp_path / "night.sigmf", ENCODINGS["cu8"], 1000.0)
    with SigMFWriter(tmp_path / "night", ENCODINGS["cu8"], 1000.0) as writer:
        with pytest.raises(ValueError, match="no capture"):
            writer.write(np.zeros(2, np.uint8))
        writer.capture(START_UNIX, 98e6)
        with pytest.raises(ValueError, match="expected whole samples of cu8"):
            writer.write(np.zeros(3, np.uint8))
        with pytest.raises(ValueError, match="expected whole samples of cu8"):
            writer.write(np.zeros(2, np.int16))
        writer.write(np.zeros(2, np.uint8))
