"""Damaged at random, a recording opens and streams in order of time, or is refused in one line; nothing else."""

import io
import tarfile

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from skyglint.errors import SkyglintError
from skyglint.signals.block import Block
from skyglint.signals.encodings import ENCODINGS, encode
from skyglint.signals.options import SourceOptions
from skyglint.signals.sigmf_writer import SigMFWriter
from skyglint.signals.sources import open_source

SAID = SourceOptions(center_frequency_hz=98e6, start_unix=1786586400.0)
TONE = 0.5 * np.exp(0.1j * np.arange(300))


@pytest.fixture(scope="module")
def valid(tmp_path_factory):
    """One valid file of each kind: name, content, options; the metadata's samples stay whole beside it."""
    folder = tmp_path_factory.mktemp("damage")
    for name in ("cu8", "cf32_le"):
        with SigMFWriter(folder / name, ENCODINGS[name], 1000.0) as writer:
            for number in range(3):
                writer.capture(1786586400.0 + number, 98e6)
                writer.write(encode(TONE, ENCODINGS[name]))
    archive = io.BytesIO()
    with tarfile.open(fileobj=archive, mode="w") as file:
        file.add(folder / "cf32_le.sigmf-meta", "night/night.sigmf-meta")
        file.add(folder / "cf32_le.sigmf-data", "night/night.sigmf-data")
    files = [
        ("cu8.sigmf-meta", (folder / "cu8.sigmf-meta").read_bytes(), SourceOptions()),
        ("night.sigmf", archive.getvalue(), SourceOptions()),
        ("night.cf32", encode(TONE, ENCODINGS["cf32_le"]).tobytes(), SourceOptions(None, 1e3, 98e6, 1786586400.0)),
    ]
    for container in ("WAV", "RF64", "W64"):
        for subtype in ("PCM_24", "FLOAT"):
            wav = io.BytesIO()
            soundfile.write(wav, np.column_stack([TONE.real, TONE.imag]), 1000, format=container, subtype=subtype)
            files.append(("night.wav", wav.getvalue(), SAID))
    return folder, files


damage = st.tuples(
    st.floats(0, 1),
    st.sampled_from(["set", "cut", "insert", "end"]),
    st.one_of(
        st.binary(min_size=1, max_size=8),
        st.sampled_from([b"\xff" * 8, b"\x00" * 8, b"\x00\x00\x80\x7f", b"\x00\x00\xc0\x7f", b"9", b"-", b"{", b'"']),
    ),
)


@settings(max_examples=400, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data(), damages=st.lists(damage, min_size=1, max_size=3), block_s=st.floats(0.005, 1.0))
def test_damage_gives_samples_in_order_or_one_line(valid, data, damages, block_s):
    folder, files = valid
    name, whole, options = data.draw(st.sampled_from(files))
    content = bytearray(whole)
    # Most of what can be misunderstood stands near the beginning.
    reach = data.draw(st.sampled_from([60, 600, len(whole)]))
    for where, how, what in damages:
        at = int(where * min(reach, len(content)))
        if how == "set":
            content[at : at + len(what)] = what
        elif how == "cut":
            del content[at : at + len(what)]
        elif how == "insert":
            content[at:at] = what
        else:
            del content[at:]
    (folder / name).write_bytes(content)
    refusal, items = "", []
    try:
        items = list(open_source(folder / name, options).blocks(block_s))
    except SkyglintError as error:
        refusal = str(error)
    assert bool(items) != bool(refusal)
    assert "\n" not in refusal
    assert not refusal or refusal.startswith(str(folder))
    end_unix, stretch = 0.0, 0
    for item in items:
        assert item.start_unix >= end_unix - 1e-6
        if isinstance(item, Block):
            assert item.n_samples > 0
            assert item.stretch >= stretch
            stretch = item.stretch
            end_unix = item.start_unix + item.n_samples / item.sample_rate_hz
        else:
            assert item.end_unix >= item.start_unix
            end_unix = item.end_unix
