import dataclasses

from skyglint.echoes.echo import Echo
from skyglint.report.best import choose_best
from skyglint.store.records import StoredEcho, Verdict


def stored(number, kind, peak_db, channel="north-sea", verdict=None):
    echo = Echo(channel, 100.0 * number, 0.3, 100.0 * number, peak_db, 1.0, echo_class=kind)
    return StoredEcho(number, 1, echo, Verdict(verdict, "observer", "", 0.0) if verdict else None)


def chosen(entries, most=4, carriers=()):
    return [entry.id for entry in choose_best(entries, carriers, most)]


def test_the_strongest_of_each_kind_come_in_turn():
    entries = [stored(1, "underdense", 9.0), stored(2, "underdense", 19.0), stored(3, "overdense", 12.0)]
    entries += [stored(4, "head", 7.0), stored(5, "underdense", 15.0), stored(6, "unknown", 40.0)]
    assert chosen(entries) == [2, 3, 4, 5]


def test_the_unknown_fill_what_is_left():
    entries = [stored(1, "unknown", 9.0), stored(2, "unknown", 19.0), stored(3, "overdense", 3.0)]
    assert chosen(entries) == [3, 2, 1]


def test_the_operators_word_decides():
    entries = [stored(1, "unknown", 9.0, verdict="head"), stored(2, "unknown", 19.0)]
    assert chosen(entries) == [1, 2]


def test_a_carriers_decibels_do_not_crowd_out_the_others():
    carriers = [stored(n, "underdense", 60.0 + n, "tone") for n in range(1, 6)]
    entries = [*carriers, stored(9, "underdense", 12.0), stored(10, "underdense", 8.0)]
    assert chosen(entries, 4, {"tone"}) == [9, 5, 10, 4]


def test_an_unmeasured_peak_comes_last():
    weak = stored(1, "underdense", 5.0)
    unmeasured = dataclasses.replace(weak, id=2, echo=dataclasses.replace(weak.echo, peak_snr_db=float("nan")))
    assert chosen([unmeasured, weak]) == [1, 2]
    assert chosen([]) == []
