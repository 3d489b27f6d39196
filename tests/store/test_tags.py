"""Tags through scans and tagging anew: none lost, none twice."""

from tests.store.conftest import CHANNELS, START_UNIX, begin, echo, source_info, write

from skyglint.store import Tag


def sat(name, **details):
    return Tag("satellite", name, details)


def scan_with(store, echoes, tags_of):
    with store.recording(begin(store), source_info(), CHANNELS) as writer:
        writer.add_echoes(echoes, tags_of)


def test_an_echo_may_come_with_its_tags(store):
    scan_with(store, [echo(10.0), echo(20.0)], lambda one: [sat("5", elevation_deg=3.0)] if one.duration_s > 1 else [])
    assert [one.tags for one in store.echoes()] == [(), ()]
    scan_with(store, [echo(10.0, duration_s=2.0)], lambda one: [sat("5", elevation_deg=3.0), sat("6")])
    assert [one.tags for one in store.echoes()] == [(sat("5", elevation_deg=3.0), sat("6"))]


def test_tags_move_to_the_new_echoes_when_the_recording_is_scanned_again(store):
    write(store, begin(store), echoes=[echo(10.0), echo(20.0), echo(30.0), echo(10.0, "quiet")])
    (first,) = store.echoes(channels=["north-sea"], end_unix=START_UNIX + 15.0)
    (other,) = store.echoes(channels=["quiet"])
    store.tag_echo(first.id, sat("5", elevation_deg=3.0))
    store.tag_echo(other.id, sat("6"))
    # Scanned anew: the first begins a little later, the last is not found again, one is new; of "5" nothing is said.
    write(store, begin(store), echoes=[echo(9.0, duration_s=1.05), echo(10.1), echo(20.0), echo(10.0, "quiet")])
    tagged = [(one.echo.channel, one.echo.start_unix - START_UNIX, one.tags) for one in store.echoes() if one.tags]
    assert [name for name, _, _ in tagged] == ["quiet", "north-sea"]
    assert [tags for _, _, tags in tagged] == [(sat("6"),), (sat("5", elevation_deg=3.0),)]
    assert 10.05 < tagged[1][1] < 10.15


def test_what_a_new_scan_says_of_the_same_satellite_counts(store):
    scan_with(store, [echo(10.0)], lambda one: [sat("5", elevation_deg=3.0), sat("6")])
    scan_with(store, [echo(10.0)], lambda one: [sat("5", elevation_deg=9.0)])
    (found,) = store.echoes()
    assert found.tags == (sat("5", elevation_deg=9.0), sat("6"))


def test_tagging_anew_takes_back_what_no_longer_agrees(store):
    write(store, begin(store), echoes=[echo(10.0), echo(20.0), echo(30.0)])
    first, second, third = (one.id for one in store.echoes())
    for number in (first, second, third):
        store.tag_echo(number, sat("5"))
        store.tag_echo(number, sat("6"))
        store.tag_echo(number, Tag("note", "5"))
    store.retag([first, second], "satellite", ["5"], [(second, sat("5", elevation_deg=1.0))])
    tags = [set((tag.kind, tag.name) for tag in one.tags) for one in store.echoes()]
    assert tags == [
        {("satellite", "6"), ("note", "5")},
        {("satellite", "5"), ("satellite", "6"), ("note", "5")},
        {("satellite", "5"), ("satellite", "6"), ("note", "5")},
    ]
    store.retag([], "satellite", ["5"], [])
    store.retag([first], "satellite", [], [])
    assert [len(one.tags) for one in store.echoes()] == [2, 3, 3]
