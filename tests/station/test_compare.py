"""Found against true: overlaps pair, losses do not count, strangers are false."""

import dataclasses

from skyglint.echoes.echo import Echo
from skyglint.simulate.truth import TrueEvent, Truth
from skyglint.station.compare import compare
from skyglint.store.records import StoredEcho


def event(start, duration=0.5, echo_class="underdense", channel="a", snr=10.0):
    return TrueEvent(channel, channel, start, duration, start + 0.05, snr, 1.0, echo_class)


def echo(number, start, duration=0.5, echo_class="unknown", channel="a"):
    return StoredEcho(number, 1, Echo(channel, start, duration, start + 0.05, 10.0, 1.0, echo_class))


def test_pairs_and_strangers():
    truth = Truth((event(10.0), event(20.0), event(30.0, echo_class="lightning")))
    found = [echo(1, 10.02), echo(2, 30.0), echo(3, 40.0, echo_class="interference")]
    result = compare(truth, found, ["a"])
    assert (result.n_true, result.n_found, result.n_false) == (2, 1, 1)
    assert [pair.found.id if pair.found else None for pair in result.pairs] == [1, None, 2]


def test_what_peaked_while_nothing_was_recorded_is_left_out():
    truth = dataclasses.replace(Truth((event(10.0),)), losses=((9.0, 11.0),))
    assert compare(truth, [], ["a"]).n_true == 0


def test_two_trails_in_one_echo_share_it():
    truth = Truth((event(10.0, 2.0), event(11.0)))
    result = compare(truth, [echo(1, 10.0, 2.5)], ["a"])
    assert (result.n_found, result.n_false) == (2, 0)


def test_other_channels_do_not_count():
    assert compare(Truth((event(10.0, channel="b"),)), [echo(1, 10.0, channel="b")], ["a"]).pairs == ()
