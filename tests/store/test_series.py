"""Strips and floors: any cut of the stream gives the same series, holes stay holes, decimation keeps the peaks."""

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.store.conftest import CHANNELS, START_UNIX, begin, source_info

from skyglint.store import Store
from skyglint.store.series import Chunk, Chunker, decimate


def gather(pieces, step_s=0.1, chunk_s=60.0):
    chunker, chunks, at = Chunker(chunk_s), [], START_UNIX
    for piece in pieces:
        chunks += chunker.process(at, step_s, piece)
        at += len(piece) * step_s
    return chunks + list(chunker.reset())


@given(st.lists(st.integers(0, 900), max_size=12), st.integers(0, 2**32 - 1))
def test_a_stream_cut_anywhere_gives_the_whole(lengths, seed):
    whole = np.random.default_rng(seed).normal(size=sum(lengths)).astype(np.float32)
    chunks = gather(np.split(whole, np.cumsum(lengths)[:-1]) if lengths else [])
    assert np.concatenate([chunk.level_db for chunk in chunks] or [np.empty(0)]).tolist() == whole.tolist()
    assert all(len(chunk.level_db) == 600 for chunk in chunks[:-1])
    for k, chunk in enumerate(chunks):
        assert abs(chunk.start_unix - (START_UNIX + k * 60.0)) < 1e-3


def test_a_hole_or_a_new_step_begins_another_chunk():
    chunker = Chunker(60.0)
    chunks = list(chunker.process(START_UNIX, 0.1, np.zeros(50)))
    chunks += chunker.process(START_UNIX + 7.0, 0.1, np.ones(50))
    chunks += chunker.process(START_UNIX + 12.0, 0.2, np.ones(5))
    chunks += chunker.reset()
    assert [(chunk.start_unix - START_UNIX, len(chunk.level_db), chunk.step_s) for chunk in chunks] == [
        (0.0, 50, 0.1),
        (7.0, 50, 0.1),
        (12.0, 5, 0.2),
    ]


@given(
    st.integers(1, 200),
    st.floats(0, 10),
    st.floats(0.1, 5.0),
    st.integers(1, 60),
    st.integers(0, 2**32 - 1),
)
@settings(max_examples=200)
def test_decimation_keeps_the_largest_of_each_step(n, offset_s, step_s, bins, seed):
    random = np.random.default_rng(seed)
    level = random.normal(size=n).astype(np.float32)
    level[random.random(n) < 0.2] = np.nan
    chunk = Chunk(offset_s, 0.1, level)
    got = decimate([chunk], 0.0, step_s, bins)
    middles = offset_s + (np.arange(n) + 0.5) * 0.1
    for k in range(bins):
        # A reading whose middle lies on a border may fall on either side.
        surely = level[(middles > k * step_s + 1e-3) & (middles < (k + 1) * step_s - 1e-3)]
        perhaps = level[(middles > k * step_s - 1e-3) & (middles < (k + 1) * step_s + 1e-3)]
        if not np.isnan(surely).all():
            assert np.nanmax(surely) <= got[k] <= np.nanmax(perhaps)
        elif np.isnan(perhaps).all():
            assert np.isnan(got[k])


def test_readings_on_the_grids_own_step_fill_every_place():
    chunks = [Chunk(1_786_586_400.0 + k * 600, 0.1, np.ones(6000, np.float32)) for k in range(6)]
    for shift_s in (0.0, 0.03, 0.05, 0.0999):
        got = decimate(chunks, 1_786_586_400.0 - shift_s, 0.1, 36_000)
        assert not np.isnan(got[1:]).any()


def night(store, length_s=3000.0, seed=3):
    """Write a strip and floors of two channels with a hole in the first; return what was given."""
    random = np.random.default_rng(seed)
    strip = random.exponential(1.0, round(length_s * 10)).astype(np.float32)
    floor = random.normal(-60, 0.2, round(length_s / 10)).astype(np.float32)
    with store.recording(begin(store), source_info(length_s=length_s), CHANNELS) as writer:
        for k in range(0, len(strip), 37):
            at = START_UNIX + k / 10
            writer.add_strip("quiet", at, 0.1, strip[k : k + 37])
            if not 9_990 <= k < 12_000:
                writer.add_strip("north-sea", at, 0.1, strip[k : k + 37])
        writer.add_floor("north-sea", START_UNIX, 10.0, floor)
    return strip, floor


def test_strips_come_back_whole_and_a_hole_is_not_measured(store):
    strip, _ = night(store)
    north_sea, quiet = store.strips()
    assert (north_sea.channel, quiet.channel) == ("north-sea", "quiet")
    assert (quiet.start_unix, quiet.step_s, len(quiet.power_db)) == (START_UNIX, 0.1, 30_000)
    assert np.max(np.abs(quiet.power_db - strip)) <= 0.125 + 1e-6
    hole = np.isnan(north_sea.power_db)
    assert hole[9_990:12_000].all()
    assert hole.sum() == 37 * math.ceil(12_000 / 37) - 9_990


def test_a_picture_gets_no_more_readings_than_it_wants_and_keeps_the_peak(store):
    strip, _ = night(store)
    (quiet,) = store.strips(START_UNIX, START_UNIX + 3000, ["quiet"], readings=500)
    assert len(quiet.power_db) == 500
    assert quiet.step_s == 6.0
    assert np.max(np.abs(quiet.power_db - strip.reshape(500, 60).max(axis=1))) <= 0.125 + 1e-6


def test_a_strip_of_a_few_seconds_lies_on_the_asked_span(store):
    strip, _ = night(store)
    (quiet,) = store.strips(START_UNIX + 650, START_UNIX + 655, ["quiet"], readings=4000)
    assert len(quiet.power_db) == 50
    assert np.max(np.abs(quiet.power_db - strip[6500:6550])) <= 0.125 + 1e-6
    (before,) = store.strips(START_UNIX - 20, START_UNIX - 10, ["quiet"]) or [None]
    assert before is None


def test_floors_come_back_with_their_times(store):
    _, floor = night(store)
    north_sea, quiet = store.floors(START_UNIX + 600, START_UNIX + 1800)
    np.testing.assert_allclose(north_sea.time_unix, START_UNIX + 600 + 10 * np.arange(120), atol=1e-3)
    assert np.max(np.abs(north_sea.floor_db - floor[60:180])) <= 0.0051
    assert quiet.time_unix.size == quiet.floor_db.size == 0


def test_a_day_of_noise_and_echoes_on_twelve_channels_stays_small(tmp_path):
    # One hour is written and scaled up, chunk for chunk the same. The frames of an FM channel of 200 kHz are means over
    # 2,000 samples; a reading is the largest of ten. A carrier's reading is the strongest of 600 bins of 10 Hz.
    random = np.random.default_rng(11)
    path = tmp_path / "day.db"
    channels = [CHANNELS[0].model_copy(update={"name": f"channel {k}"}) for k in range(12)]
    with Store.open(path, "create") as store, store.recording(begin(store), source_info(), channels) as writer:
        empty_bytes = path.stat().st_size
        for k, channel in enumerate(channels):
            samples = 2000 if k < 6 else 1
            power = random.gamma(samples, 1 / samples, (36_000, 10)).max(axis=1)
            if k >= 6:
                power = -np.log(1 - random.random(36_000) ** (1 / 6000))
            for at in random.integers(0, 36_000, 60):
                decay = 50 * np.exp(-np.arange(20) / 4.0)
                power[at : at + 20] += decay[: len(power) - at]
            writer.add_strip(channel.name, START_UNIX, 0.1, 10 * np.log10(power))
            writer.add_floor(channel.name, START_UNIX, 10.0, random.normal(-60, 0.05, 360))
    a_day_bytes = (path.stat().st_size - empty_bytes) * 24
    print(f"{a_day_bytes / 1e6:.1f} MB a day")
    assert a_day_bytes < 15e6


def test_a_short_last_reading_leaves_no_holes_in_the_grid(store):
    with store.recording(begin(store), source_info(), CHANNELS) as writer:
        writer.add_strip("quiet", START_UNIX, 0.1, np.zeros(100))
        writer.add_strip("quiet", START_UNIX + 10.0, 0.03, [20.0])
    quiet = store.strips()[1]
    assert quiet.step_s == 0.1
    assert not np.isnan(quiet.power_db).any()
