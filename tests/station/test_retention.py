"""Snippets stay within their budget; the weakest of the older go first; what is there is found again."""

import numpy as np
import pytest

from skyglint.signals.block import Encoding
from skyglint.signals.sources import open_source
from skyglint.station.recent import Excerpt
from skyglint.station.retention import SnippetFolder

CU8 = Encoding("cu8", np.dtype(np.uint8), 127.5, 127.5)


def excerpt(start, count=500):
    values = np.random.default_rng(1).integers(0, 256, 2 * count, dtype=np.uint8)
    return Excerpt(values, CU8, start, 250_000.0, 98e6)


def snrs(folder):
    return sorted(item.snr_db for item in folder._kept)


def test_a_snippet_can_be_read_back(tmp_path):
    folder = SnippetFolder(tmp_path / "snippets", 1e6)
    given = excerpt(1_786_586_400.25)
    path = folder.keep(given, "north-sea", 17.3)
    source = open_source(path)
    (block,) = list(source.blocks(1.0))
    np.testing.assert_array_equal(block.values, given.values)
    assert source.info.start_unix == pytest.approx(given.start_unix, abs=1e-6)
    assert source.info.center_frequency_hz == 98e6


def test_the_weakest_of_the_older_half_goes_first(tmp_path):
    folder = SnippetFolder(tmp_path, 4000)
    for number, snr in enumerate([20, 12, 15, 30]):
        folder.keep(excerpt(1_786_586_400.0 + number), "a", snr)
    folder.keep(excerpt(1_786_586_410.0), "a", 11)
    assert snrs(folder) == [11, 15, 20, 30]
    assert folder.used_bytes <= 4000
    assert len(list(tmp_path.glob("*.sigmf-data"))) == len(list(tmp_path.glob("*.sigmf-meta"))) == 4


def test_what_alone_exceeds_the_budget_is_not_kept(tmp_path):
    folder = SnippetFolder(tmp_path, 900)
    assert folder.keep(excerpt(1_786_586_400.0), "a", 40) is None
    assert list(tmp_path.glob("*.sigmf-*")) == []


def test_a_new_start_finds_what_is_there_and_clears_what_is_half_written(tmp_path):
    SnippetFolder(tmp_path, 1e6).keep(excerpt(1_786_586_400.0), "über/../évil name", 8.6)
    (tmp_path / ".x.sigmf-data.part").write_bytes(b"half")
    again = SnippetFolder(tmp_path, 1e6)
    assert snrs(again) == [9]
    assert not list(tmp_path.glob(".*.part"))
    assert all(path.parent == tmp_path for path in tmp_path.rglob("*"))
