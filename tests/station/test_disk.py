"""When the disk fills the reserve goes at once, and half of the snippets, but not again and again."""

import numpy as np

from skyglint.signals.encodings import ENCODINGS
from skyglint.station import disk as module
from skyglint.station.disk import Disk
from skyglint.station.recent import Excerpt


class Clock:
    now = 1000.0

    def __call__(self):
        return self.now


def make(tmp_path, clock):
    return Disk(tmp_path / "station.db", tmp_path / "snippets", 1e9, clock)


def test_what_gives_way_and_how_often(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "LEAST_FREE_BYTES", 0.0)
    monkeypatch.setattr(module, "RESERVE_BYTES", 1000)
    clock = Clock()
    disk = make(tmp_path, clock)
    disk.make_reserve()
    assert (tmp_path / "station.reserve").stat().st_size == 1000
    values = np.random.default_rng(1).integers(0, 256, 1_000, dtype=np.uint8)
    for second in range(8):
        disk.snippets.keep(Excerpt(values, ENCODINGS["cu8"], 1_786_586_400.0 + second, 250e3, 98e6), "far", 10.0)
    for _ in range(5):
        disk.give_way()
        clock.now += 2.0
    assert not (tmp_path / "station.reserve").exists()
    assert disk.snippets.used_bytes == 4_000
    clock.now += 600.0
    disk.give_way()
    assert disk.snippets.used_bytes == 2_000


def test_a_full_disk_gets_no_reserve(tmp_path, monkeypatch):
    monkeypatch.setattr(module, "LEAST_FREE_BYTES", 1e18)
    disk = make(tmp_path, Clock())
    assert disk.is_full
    disk.make_reserve()
    assert not (tmp_path / "station.reserve").exists()
