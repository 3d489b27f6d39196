"""What is written comes back: a store's records after a round trip through the file."""

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pytest
import sqlalchemy as sa
from tests.store.conftest import CHANNELS, START_UNIX, begin, echo, snippet, source_info, watched, write

import skyglint
from skyglint.errors import RequestError
from skyglint.store import CoverageSpan, Store, Tag, Verdict


def test_an_echo_with_all_its_measurements_comes_back(store):
    full = echo(
        echo_class="underdense",
        class_probability=0.93,
        reason="rises in 20 ms, decays in 0.11 s",
        decay_time_s=0.11,
        decay_time_sd_s=0.02,
        doppler_hz=-31.5,
        doppler_sd_hz=4.0,
        doppler_rate_hz_s=0.5,
        height_km=94.2,
        height_sd_km=3.1,
        rds_pi="F3A7",
        flags=("clipped", "merged"),
        details={"amplitude_sd": 0.25, "fading_rate_hz": 3.0},
    )
    write(store, begin(store), echoes=[full])
    (stored,) = store.echoes()
    assert stored.echo == full
    assert stored.verdict is None


def test_what_was_not_measured_is_null_in_the_file_and_nan_outside(store):
    write(store, begin(store), echoes=[echo()])
    (stored,) = store.echoes()
    assert math.isnan(stored.echo.decay_time_s)
    assert math.isnan(stored.echo.class_probability)
    with store._engine.connect() as connection:
        row = connection.execute(sa.text("SELECT decay_time_s, height_km, doppler_hz FROM echoes")).one()
    assert row == (None, None, None)


def test_a_picture_comes_back_within_half_a_step_of_eight_bits(store):
    picture = snippet()
    picture.power_db[7] = np.nan
    write(store, begin(store), echoes=[echo(snippet=picture), echo(20.0)])
    with_picture, without = store.echoes()
    back = store.snippet(with_picture.id)
    for name in ("power_db", "spectrogram_db"):
        given, got = getattr(picture, name), getattr(back, name)
        half_step = (np.nanmax(given) - np.nanmin(given)) / 253 / 2
        assert np.isnan(got).tolist() == np.isnan(given).tolist()
        assert np.nanmax(np.abs(got - given)) <= half_step + 1e-4
    np.testing.assert_array_equal(back.offsets_hz, picture.offsets_hz)
    assert (back.start_unix, back.step_s) == (picture.start_unix, picture.step_s)
    assert store.snippet(without.id) is None


def test_run_and_recording_keep_their_provenance(store):
    run_id = begin(store)
    write(store, run_id)
    (run,) = store.runs()
    assert (run.id, run.site_name, run.version) == (run_id, "Harrow Fell", skyglint.__version__)
    assert run.parameters == {"false_alarms_per_h": 1.0}
    assert run.site_file.startswith("[site]")
    (recording,) = store.recordings()
    assert (recording.name, recording.fingerprint, recording.encoding) == ("night.sigmf-meta", "a1b2", "cu8")
    assert (recording.samples, recording.clipped_share) == (8_640_000_000, 0.0005)
    assert (recording.start_unix, recording.end_unix) == (START_UNIX, START_UNIX + 3600)


def test_a_run_that_wrote_nothing_does_not_show(store):
    begin(store)
    assert store.runs() == []


def test_channels_come_back_as_declared_in_the_order_of_the_site_file(store):
    write(store, begin(store))
    assert tuple(store.channels()) == CHANNELS


def test_a_channel_declared_anew_keeps_its_name_and_its_old_echoes(store):
    write(store, begin(store), echoes=[echo()])
    moved = (CHANNELS[0].model_copy(update={"frequency_hz": 99.1e6}), CHANNELS[1])
    later = source_info(fingerprint="ffff", start_unix=START_UNIX + 86_400)
    write(store, begin(store), info=later, channels=moved)
    assert tuple(store.channels()) == moved
    assert len(store.echoes(channels=["north-sea"])) == 1


def test_coverage_spans_that_meet_become_one_and_losses_keep_their_reason(store):
    pieces = [watched(START_UNIX + k / 10, START_UNIX + (k + 1) / 10) for k in range(100)]
    lost = CoverageSpan("north-sea", START_UNIX + 10, START_UNIX + 12, "lost", "receiver lost")
    after = watched(START_UNIX + 12, START_UNIX + 20)
    other = watched(START_UNIX, START_UNIX + 20, "quiet")
    write(store, begin(store), coverage=[*pieces, other, lost, after])
    north_sea = store.coverage(channels=["north-sea"])
    assert [(round(s.start_unix - START_UNIX, 6), round(s.end_unix - START_UNIX, 6), s.state) for s in north_sea] == [
        (0, 10, "watched"),
        (10, 12, "lost"),
        (12, 20, "watched"),
    ]
    assert north_sea[1].reason == "receiver lost"
    assert store.coverage(channels=["quiet"]) == [other]
    assert store.span() == (START_UNIX, START_UNIX + 20)


def test_scanning_the_same_recording_again_replaces_its_results(store):
    write(store, begin(store), echoes=[echo(1.0), echo(2.0)])
    second = begin(store)
    write(store, second, info=source_info(name="renamed.wav"), echoes=[echo(1.5)])
    assert [item.echo.start_unix - START_UNIX for item in store.echoes()] == [1.5]
    assert [recording.name for recording in store.recordings()] == ["renamed.wav"]
    assert [run.id for run in store.runs()] == [second]
    assert len(store.coverage()) == 1


def test_the_same_recording_twice_in_one_run_counts_once(store):
    run_id = begin(store)
    write(store, run_id, echoes=[echo()])
    write(store, run_id, echoes=[echo()])
    assert len(store.echoes()) == 1
    assert len(store.runs()) == 1


def test_numbers_of_replaced_echoes_are_never_used_again(store):
    write(store, begin(store), echoes=[echo()])
    (first,) = store.echoes()
    write(store, begin(store), echoes=[echo()])
    (second,) = store.echoes()
    assert second.id > first.id


def test_the_operators_verdict_wins_and_can_be_taken_back(store):
    write(store, begin(store), echoes=[echo(echo_class="underdense")])
    (stored,) = store.echoes()
    verdict = Verdict("aircraft", "operator", "slow beating", START_UNIX + 50_000)
    store.give_verdict(stored.id, Verdict("satellite", "operator", "", START_UNIX + 49_000))
    store.give_verdict(stored.id, verdict)
    judged = store.echo(stored.id)
    assert judged.verdict == verdict
    assert (judged.echo.echo_class, judged.echo_class, judged.meteoric) == ("underdense", "aircraft", False)
    store.give_verdict(stored.id, None)
    assert store.echo(stored.id).meteoric
    with pytest.raises(RequestError, match="there is no echo 999"):
        store.give_verdict(999, verdict)


def test_a_verdict_moves_to_the_new_echo_when_the_recording_is_scanned_again(store):
    write(store, begin(store), echoes=[echo(10.0, duration_s=2.0), echo(30.0)])
    store.give_verdict(store.echoes()[0].id, Verdict("aircraft", "operator", "", START_UNIX))
    moved = (CHANNELS[0].model_copy(update={"bandwidth_hz": 150e3}), CHANNELS[1])
    again = [echo(10.1, duration_s=0.2), echo(10.5, duration_s=1.4), echo(30.0)]
    write(store, begin(store), echoes=again, channels=moved)
    assert [item.verdict is not None for item in store.echoes()] == [False, True, False]


def test_a_verdict_without_an_echo_waits_for_a_scan_that_finds_it(store):
    write(store, begin(store), echoes=[echo()])
    store.give_verdict(store.echoes()[0].id, Verdict("head", "operator", "", START_UNIX))
    write(store, begin(store), echoes=[])
    write(store, begin(store), echoes=[echo()])
    assert store.echoes()[0].echo_class == "head"


def test_a_tag_stays_with_its_echo(store):
    write(store, begin(store), echoes=[echo(), echo(20.0)])
    first, second = store.echoes()
    store.tag_echo(first.id, Tag("satellite", "25544", {"elevation_deg": 20.0}))
    store.tag_echo(first.id, Tag("satellite", "25544", {"elevation_deg": 21.5}))
    assert store.echo(first.id).tags == (Tag("satellite", "25544", {"elevation_deg": 21.5}),)
    assert store.echo(second.id).tags == ()


def test_spans_are_half_open_and_channels_are_filtered(store):
    found = [echo(float(k), channel=name) for k in range(5) for name in ("north-sea", "quiet")]
    write(store, begin(store), echoes=found)
    chosen = store.echoes(START_UNIX + 1, START_UNIX + 3, ["quiet"])
    assert [item.echo.start_unix - START_UNIX for item in chosen] == [1, 2]
    assert {item.echo.channel for item in chosen} == {"quiet"}
    with pytest.raises(RequestError, match='no channel "loud": it has north-sea, quiet'):
        store.echoes(channels=["loud"])


def test_sites_in_one_database_do_not_mix(store, path):
    write(store, begin(store), echoes=[echo()])
    write(store, begin(store, site_name="Tarn End"), echoes=[echo(5.0), echo(6.0)])
    assert len(store.recordings()) == 2
    with Store.open(path, site_name="Tarn End") as tarn_end:
        assert len(tarn_end.echoes()) == 2
        assert [run.site_name for run in tarn_end.runs()] == ["Tarn End"]
        assert len(tarn_end.recordings()) == len(tarn_end.coverage()) == 1
    with pytest.raises(RequestError, match='no site "Fell End": it has Harrow Fell, Tarn End'):
        Store.open(path, site_name="Fell End")


def test_an_empty_database_answers_with_nothing(store):
    assert store.span() is None
    assert store.echoes() == store.coverage() == store.recordings() == store.channels() == store.runs() == []
    assert store.strips() == store.floors() == []
    assert store.echo(1) is None
    assert store.snippet(1) is None


def test_an_exception_in_the_middle_leaves_what_was_there(store):
    write(store, begin(store), echoes=[echo()])
    before = store.echoes(), store.coverage(), store.recordings()

    def break_off():
        with store.recording(begin(store), source_info(), CHANNELS) as writer:
            writer.add_echoes([echo(99.0)])
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        break_off()
    assert (store.echoes(), store.coverage(), store.recordings()) == before


def test_while_watching_live_each_commit_is_seen_by_others(store, path):
    live = dataclasses.replace(source_info(fingerprint=""), end_unix=math.nan)

    def watch_until_the_receiver_is_lost(viewer):
        with store.recording(begin(store), live, CHANNELS, live=True) as writer:
            for k in range(3):
                now = START_UNIX + 2.0 * k
                writer.add_coverage([watched(now, now + 2.0)])
                writer.add_echoes([echo(2.0 * k)])
                writer.commit()
                assert len(viewer.echoes()) == k + 1
                assert viewer.coverage() == [watched(START_UNIX, now + 2.0)]
                assert viewer.recordings()[0].end_unix == now + 2.0
                # The lock is free between commits: another program's verdict goes through.
                with Store.open(path, "write") as pages:
                    pages.give_verdict(viewer.echoes()[-1].id, Verdict("head", "operator", "", now))
            writer.add_echoes([echo(50.0)])
            raise ConnectionError

    with Store.open(path) as viewer, pytest.raises(ConnectionError):
        watch_until_the_receiver_is_lost(viewer)
    assert len(store.echoes()) == 3


def test_a_recording_cannot_be_committed_half_way(store):
    with (
        pytest.raises(ValueError, match="whole or not at all"),
        store.recording(begin(store), source_info(), CHANNELS) as writer,
    ):
        writer.commit()


def test_queries_by_time_and_channel_use_an_index(store):
    from skyglint.store import reader

    plans = []

    def explain(connection, cursor, statement, parameters, context, executemany):
        if statement.startswith("SELECT") and "FROM echoes JOIN" in statement:
            plan = SimpleNamespace(rows=cursor.execute("EXPLAIN QUERY PLAN " + statement, parameters).fetchall())
            plans.append(" | ".join(row[3] for row in plan.rows))

    write(store, begin(store), echoes=[echo(float(k)) for k in range(50)])
    sa.event.listen(store._engine, "before_cursor_execute", explain)
    for channels in (None, ["quiet"]):
        with store._reading() as connection:
            reader.read_echoes(connection, reader.Selection(START_UNIX, START_UNIX + 5, channels))
    assert plans
    assert all("SCAN echoes" not in plan and "INDEX ix_echoes" in plan for plan in plans)
