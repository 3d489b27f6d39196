"""Pictures are kept within bounds, the weakest of the older half go first, and no echo goes with them."""

import dataclasses

import pytest
from tests.store.conftest import CHANNELS, begin, echo, snippet, write

from skyglint.site import Channel
from skyglint.store import pictures

BEACON = Channel(name="beacon", role="target", kind="carrier", frequency_hz=143e6)


def with_picture(offset_s, peak_snr_db, channel="north-sea"):
    picture = dataclasses.replace(snippet(), start_unix=echo(offset_s).start_unix - 1.0)
    return echo(offset_s, channel, peak_snr_db=peak_snr_db, snippet=picture)


@pytest.fixture
def filled(store):
    peaks = [(12.0, "north-sea"), (5.0, "north-sea"), (20.0, "north-sea"), (30.0, "beacon"), (3.0, "north-sea")]
    found = [with_picture(100.0 * place, peak, channel) for place, (peak, channel) in enumerate([*peaks, *peaks])]
    write(store, begin(store), echoes=found, channels=(*CHANNELS, BEACON))
    return store


def kept(store):
    return [store.snippet(entry.id) is not None for entry in store.echoes()]


def test_within_the_bounds_nothing_is_dropped(filled):
    used = filled.keep_pictures_within(1e9, 20.0)
    assert used > 10_000
    assert all(kept(filled))


@pytest.mark.parametrize("batch", [1, 500])
def test_the_weakest_of_the_older_half_go_first(filled, monkeypatch, batch):
    monkeypatch.setattr(pictures, "BATCH", batch)
    used = filled.keep_pictures_within(1e9, 20.0)
    assert filled.keep_pictures_within(0.75 * used, 20.0) <= 0.75 * used
    # Of the first five: 3 dB, 5 dB and the carrier's 30 dB-Hz, which is 10 dB in 100 Hz.
    assert kept(filled) == [True, False, True, False, False, True, True, True, True, True]
    assert len(filled.echoes()) == 10


def test_no_budget_keeps_none_and_no_echo_is_lost(filled):
    assert filled.keep_pictures_within(0.0, 20.0) == 0
    assert not any(kept(filled))
    assert len(filled.echoes()) == 10


def test_without_any_picture_there_is_nothing_to_drop(store):
    assert store.keep_pictures_within(0.0, 20.0) == 0
