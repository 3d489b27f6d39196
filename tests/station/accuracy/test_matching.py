from skyglint.echoes.echo import Echo
from skyglint.simulate.truth import TrueEvent
from skyglint.station.accuracy.matching import match


def echo(channel, start, duration, energy=1.0):
    return Echo(channel, start, duration, start, 10.0, energy)


def event(channel, start, duration):
    return TrueEvent(channel, "x", start, duration, start, 10.0, 1.0, "underdense")


def test_overlap_in_the_same_channel_is_a_match():
    echoes = [echo("a", 10.0, 1.0), echo("a", 11.5, 0.2, 5.0), echo("b", 10.0, 1.0), echo("a", 30.0, 1.0)]
    (found,) = match([event("a", 10.5, 1.2)], echoes)
    assert found.echoes == (echoes[0], echoes[1])
    assert found.main is echoes[1]


def test_what_hits_every_channel_matches_in_each():
    (found,) = match([event("*", 10.0, 0.1)], [echo("a", 10.0, 0.1), echo("b", 10.0, 0.1)])
    assert len(found.echoes) == 2
