"""One valid SigMF recording, and the many ways in which a recording can be broken."""

import json
import tarfile
from pathlib import Path

import numpy as np
import pytest
import sigmf
from sigmf.archive import SigMFArchive

from skyglint.errors import RequestError, SourceError
from skyglint.signals.block import Block, Gap
from skyglint.signals.encodings import ENCODINGS, encode
from skyglint.signals.options import SourceOptions
from skyglint.signals.sigmf_writer import SigMFWriter
from skyglint.signals.sources import open_source

START_UNIX = 1786586400.0
RATE_HZ = 1000.0


@pytest.fixture
def night(tmp_path):
    """Two seconds of cu8 as a pair of files."""
    with SigMFWriter(tmp_path / "night", ENCODINGS["cu8"], RATE_HZ) as writer:
        writer.capture(START_UNIX, 98e6)
        writer.write(np.arange(4000).astype(np.uint8))
    return tmp_path / "night.sigmf-meta"


def change(path, **parts):
    """Replace keys of ``global`` (``None`` removes one), or whole other parts, in the metadata."""
    meta = json.loads(path.read_text())
    for key, value in parts.pop("of_global", {}).items():
        meta["global"][key] = value
        if value is None:
            del meta["global"][key]
    path.write_text(json.dumps(meta | parts))


def blocks_of(source, block_s=0.1):
    return [item for item in source.blocks(block_s) if isinstance(item, Block)]


@pytest.mark.parametrize("name", ["night.sigmf-meta", "night.sigmf-data", "night"])
def test_named_by_either_file_or_by_neither(night, name):
    source = open_source(night.with_name(name))
    assert sum(block.n_samples for block in blocks_of(source)) == 2000
    assert source.info.start_unix == START_UNIX
    assert source.info.end_unix == START_UNIX + 2
    assert (source.info.band_low_hz, source.info.band_high_hz) == (98e6 - 500, 98e6 + 500)


@pytest.mark.parametrize("name", ["cu8", "ci8", "ci16_le", "ci16_be", "cf32_le", "cf32_be"])
def test_samples_are_those_that_the_reference_package_reads(tmp_path, name):
    raw = encode(0.5 * np.exp(0.1j * np.arange(500)), ENCODINGS[name])
    raw.tofile(tmp_path / "night.sigmf-data")
    outside = sigmf.SigMFFile(
        global_info={"core:datatype": name, "core:sample_rate": RATE_HZ, "core:version": "1.2.0"},
        data_file=str(tmp_path / "night.sigmf-data"),
    )
    outside.add_capture(0, metadata={"core:datetime": "2026-08-13T02:00:00Z", "core:frequency": 98e6})
    outside.tofile(str(tmp_path / "night.sigmf-meta"))
    source = open_source(tmp_path / "night.sigmf-meta")
    assert source.info.start_unix == START_UNIX
    ours = np.concatenate([block.samples for block in blocks_of(source, 0.03)])
    theirs = outside.read_samples()
    # The package's zero of cu8 is 128 and its full scale 128; ours is midway between the rails.
    slack = 0.01 if name == "cu8" else 1e-6
    assert np.abs(ours - theirs).max() < slack


def test_an_archive_made_by_the_reference_package_is_read_in_place(night, tmp_path):
    outside = sigmf.fromfile(str(night))
    SigMFArchive(outside, name=str(tmp_path / "kept.sigmf"))
    source = open_source(tmp_path / "kept.sigmf")
    ours = np.concatenate([block.values for block in blocks_of(source)])
    assert np.array_equal(ours, np.arange(4000).astype(np.uint8))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["kept.sigmf", "night.sigmf-data", "night.sigmf-meta"]


def archive(night, *suffixes):
    path = night.with_suffix(".sigmf")
    with tarfile.open(path, "w") as file:
        for suffix in suffixes:
            file.add(night.with_suffix(suffix), f"night/night{suffix}")
    return path


def test_the_fingerprint_knows_the_content_and_not_the_name(night):
    first = open_source(night).info.fingerprint
    assert open_source(archive(night, ".sigmf-meta", ".sigmf-data")).info.fingerprint == first
    for suffix in (".sigmf-meta", ".sigmf-data"):
        night.with_suffix(suffix).rename(night.with_name("other" + suffix))
    other = night.with_name("other.sigmf-data")
    assert open_source(other).info.fingerprint == first
    other.write_bytes(b"\x01" + other.read_bytes()[1:])
    assert open_source(other).info.fingerprint != first


def test_a_truncated_archive_is_used_to_where_it_ends(night):
    path = archive(night, ".sigmf-meta", ".sigmf-data")
    whole = path.read_bytes()
    path.write_bytes(whole[: whole.rindex(np.arange(256).astype(np.uint8).tobytes(), 0, 4096) + 256])
    source = open_source(path)
    *blocks, gap = source.blocks()
    n_samples = sum(block.n_samples for block in blocks)
    assert 0 < n_samples < 2000
    assert gap == Gap(START_UNIX + n_samples / RATE_HZ, START_UNIX + 2, "recording ends before its stated length")


def test_a_truncated_recording_ends_with_a_gap_to_its_stated_end(night):
    data = night.with_suffix(".sigmf-data")
    data.write_bytes(data.read_bytes()[:1001])
    *blocks, gap = open_source(night).blocks()
    assert sum(block.n_samples for block in blocks) == 500
    assert gap == Gap(START_UNIX + 0.5, START_UNIX + 2, "recording ends before its stated length")


def test_an_annotation_beyond_the_end_tells_of_a_truncation_too(night):
    annotations = [{"core:sample_start": 2500, "core:sample_count": 500}]
    change(night, of_global={"skyglint:sample_count": None}, annotations=annotations)
    *_, gap = open_source(night).blocks()
    assert gap == Gap(START_UNIX + 2, START_UNIX + 3, "recording ends before its stated length")


def test_an_odd_number_of_bytes_loses_the_last_sample(night):
    change(night, of_global={"skyglint:sample_count": None})
    data = night.with_suffix(".sigmf-data")
    data.write_bytes(data.read_bytes() + b"\x7f")
    *_, gap = open_source(night).blocks()
    assert gap == Gap(START_UNIX + 2, START_UNIX + 2 + 1 / RATE_HZ, "the last sample is incomplete")


def test_header_and_trailing_bytes_are_no_samples(night):
    data = night.with_suffix(".sigmf-data")
    values = data.read_bytes()
    data.write_bytes(b"head" + values[:2000] + b"middle" + values[2000:] + b"tail!")
    second = {"core:sample_start": 1000, "core:header_bytes": 6, "core:datetime": "2026-08-13T02:00:01Z"}
    captures = [*first("core:header_bytes", 4)["captures"], second]
    change(night, of_global={"core:trailing_bytes": 5}, captures=captures)
    blocks = blocks_of(open_source(night), 0.3)
    assert b"".join(block.values.tobytes() for block in blocks) == values
    assert {block.stretch for block in blocks} == {0}


def test_what_the_metadata_leaves_out_the_user_says(night):
    change(night, of_global={"core:sample_rate": None}, captures=[])
    options = SourceOptions(sample_rate_hz=RATE_HZ, center_frequency_hz=99e6, start_unix=START_UNIX + 60)
    info = open_source(night, options).info
    assert (info.sample_rate_hz, info.center_frequency_hz, info.start_unix) == (RATE_HZ, 99e6, START_UNIX + 60)


def test_real_samples_are_single_sideband_audio(night):
    change(night, of_global={"core:datatype": "ri16_le", "skyglint:sample_count": None, "skyglint:sideband": "lsb"})
    source = open_source(night)
    assert (source.info.band_low_hz, source.info.band_high_hz) == (98e6 - 500, 98e6)
    assert source.info.encoding == "ri16_le"
    assert blocks_of(source)[0].n_samples == 100


def test_a_disk_that_fails_while_reading_is_said(night, monkeypatch):
    source = open_source(night)
    items = source.blocks(0.1)
    next(items)
    data = night.with_suffix(".sigmf-data")
    with data.open("r+b") as file:
        file.truncate(1000)
    *blocks, gap = items
    assert sum(block.n_samples for block in blocks) == 400
    assert gap == Gap(START_UNIX + 0.5, START_UNIX + 2, "file became shorter while it was read")
    data.unlink()
    with pytest.raises(SourceError, match="reading failed: No such file or directory"):
        list(source.blocks())


def first(key, value):
    capture = {"core:sample_start": 0, "core:datetime": "2026-08-13T02:00:00Z", "core:frequency": 98e6}
    return {"captures": [capture | {key: value}]}


@pytest.mark.parametrize(
    ("fault", "message"),
    [
        ({"of_global": {"core:datatype": None}}, "core:datatype = None: expected one of cf32_be"),
        ({"of_global": {"core:datatype": "ci16"}}, "core:datatype = 'ci16': expected one of"),
        ({"of_global": {"core:datatype": "cf64_le"}}, "core:datatype = 'cf64_le': expected one of"),
        ({"of_global": {"core:num_channels": 2}}, "core:num_channels = 2: expected 1"),
        ({"of_global": {"core:sample_rate": 0}}, r"core:sample_rate = 0: expected a number from 1 to 1e\+09"),
        ({"of_global": {"core:sample_rate": -1.0}}, "core:sample_rate = -1.0: expected"),
        ({"of_global": {"core:sample_rate": 1e300}}, "core:sample_rate = 1e"),
        ({"of_global": {"core:sample_rate": float("nan")}}, "core:sample_rate = nan: expected"),
        ({"of_global": {"core:sample_rate": "fast"}}, "core:sample_rate = 'fast': expected"),
        ({"of_global": {"core:sample_rate": True}}, "core:sample_rate = True: expected"),
        ({"of_global": {"core:sample_rate": None}}, "does not state its sample rate: .*--sample-rate-hz 2400000"),
        ({"of_global": {"core:dataset": "../other.bin"}}, "core:dataset = '../other.bin': expected the name of a file"),
        ({"of_global": {"core:dataset": ""}}, "core:dataset = '': expected the name of a file"),
        ({"of_global": {"core:dataset": "other.bin"}}, "its samples other.bin are missing beside it"),
        ({"of_global": {"skyglint:sample_count": 1000}}, "states 1000 samples, but its data would hold 2000 of cu8"),
        ({"of_global": {"skyglint:sample_count": 1 << 62}}, "states an end after the year 2200"),
        ({"of_global": {"skyglint:sample_count": -1}}, "skyglint:sample_count = -1: expected a whole number"),
        (first("core:frequency", 0), "captures.0.: core:frequency = 0: expected"),
        (first("core:frequency", 1e300), r"core:frequency = 1e\+300: expected"),
        (first("core:frequency", None), "does not state its centre frequency: .*--center-frequency-hz 98000000"),
        (first("core:datetime", None), "does not state when it starts: .*--start 2026-08-13T02:00:00Z"),
        (first("core:datetime", "yesterday"), "core:datetime = 'yesterday': expected a UTC time"),
        (first("core:datetime", "2026-08-13T02:00:00"), "expected a UTC time like"),
        (first("core:datetime", "0001-01-01T00:00:00+23:00"), "expected a"),
        (first("core:datetime", 1786586400), "core:datetime = 1786586400: expected a UTC time"),
        (first("core:sample_start", -5), "core:sample_start = -5: expected a whole number"),
        (first("core:sample_start", 1e3), "core:sample_start = 1000.0: expected a whole number"),
        (first("core:sample_start", 10**40), "core:sample_start = 10+\\.\\.\\.: expected a whole number"),
        (first("core:sample_start", 5000), "holds no samples"),
        (first("core:header_bytes", 10_000), "holds no samples"),
        ({"captures": "none"}, "captures: expected a list of objects"),
        ({"captures": [1, 2]}, "captures: expected a list of objects"),
        ({"annotations": {}}, "annotations: expected a list of objects"),
        ({"global": []}, "global is missing or no object"),
        (
            {"captures": first("core:sample_start", 10)["captures"] + first("core:sample_start", 5)["captures"]},
            "captures.1.: core:sample_start = 5: expected captures in order",
        ),
    ],
)
def test_metadata_that_cannot_be_meant_is_said_in_one_line(night, fault, message):
    change(night, **fault)
    with pytest.raises((SourceError, RequestError), match=message) as caught:
        open_source(night)
    assert "\n" not in str(caught.value)
    assert night.name in str(caught.value) or "night.sigmf-data" in str(caught.value)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", r"not valid JSON \(line 1, column 1"),
        (b'{"global": {', r"not valid JSON \(line 1, column 13"),
        (b"\xff\xfe\x00", r"not text in UTF-8 \(byte 0\)"),
        (b"[1, 2]", "expected a JSON object with global and captures, found list"),
        (b"[" * 100_000, "JSON beyond all reason"),
        (b"[" + b"9" * 5000 + b"]", "JSON beyond all reason"),
        (b"{}", "global is missing"),
    ],
)
def test_metadata_that_is_none_is_said_in_one_line(night, content, message):
    night.write_bytes(content)
    with pytest.raises(SourceError, match=message) as caught:
        open_source(night)
    assert "\n" not in str(caught.value)


def test_floats_that_are_no_samples_are_mislabelled(night):
    data = night.with_suffix(".sigmf-data")
    data.write_bytes(np.random.default_rng(3).integers(126, 129, 8000, dtype=np.uint8).tobytes())
    change(night, of_global={"core:datatype": "cf32_le"})
    with pytest.raises(SourceError, match=r"does not hold cf32_le samples: \d+% of the values"):
        open_source(night)


def test_an_option_that_contradicts_the_metadata_is_refused(night):
    with pytest.raises(RequestError, match=r"core:sample_rate states 1000\.0, --sample-rate-hz says 2000"):
        open_source(night, SourceOptions(sample_rate_hz=2000.0))
    assert open_source(night, SourceOptions(sample_rate_hz=RATE_HZ)).info.sample_rate_hz == RATE_HZ


def test_options_of_audio_are_refused_for_iq(night):
    with pytest.raises(RequestError, match="holds I/Q; --sideband and --dial-frequency-hz are for audio"):
        open_source(night, SourceOptions(sideband="usb"))


def test_files_that_are_not_there(night, tmp_path):
    with pytest.raises(RequestError, match="no such recording"):
        open_source(tmp_path / "other.sigmf-meta")
    night.with_suffix(".sigmf-data").rename(tmp_path / "lost")
    with pytest.raises(RequestError, match=r"its samples night\.sigmf-data are missing beside it"):
        open_source(night)
    (tmp_path / "lost").rename(night.with_suffix(".sigmf-data"))
    night.unlink()
    with pytest.raises(RequestError, match=r"its metadata night\.sigmf-meta is missing beside it"):
        open_source(night.with_suffix(".sigmf-data"))


def test_an_empty_data_file(night):
    night.with_suffix(".sigmf-data").write_bytes(b"")
    with pytest.raises(SourceError, match="holds no samples"):
        open_source(night)


def test_archives_that_are_none(night):
    path = night.with_suffix(".sigmf")
    path.write_bytes(b"a letter" * 200)
    with pytest.raises(SourceError, match="not a SigMF archive"):
        open_source(path)
    path.write_bytes(b"")
    with pytest.raises(SourceError, match=r"not a SigMF archive|expected one recording in the archive, found none"):
        open_source(path)
    with pytest.raises(SourceError, match=r"the archive holds no night/night\.sigmf-data"):
        open_source(archive(night, ".sigmf-meta"))
    with pytest.raises(SourceError, match="expected one recording in the archive, found none"):
        open_source(archive(night, ".sigmf-data"))


def test_folders_and_forbidden_files(night, tmp_path, monkeypatch):
    (tmp_path / "folder.sigmf").mkdir()
    with pytest.raises(RequestError, match="is a folder; expected a recording"):
        open_source(tmp_path / "folder.sigmf")
    with pytest.raises(RequestError, match="cannot be read: File name too long"):
        open_source("x" * 5000)

    def forbidden(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", forbidden)
    with pytest.raises(RequestError, match="may not be read: permission denied"):
        open_source(night)
