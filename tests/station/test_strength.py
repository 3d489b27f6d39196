"""One measure for strong: a carrier of C/N0 dB-Hz has C/N0 - 20 dB in 100 Hz, by the definition of the ratio."""

import pytest

from skyglint.echoes.echo import Echo
from skyglint.site import Channel
from skyglint.station.strength import peak_words, strength_db


@pytest.mark.parametrize(("kind", "expected", "words"), [("fm", 42.0, "42 dB"), ("carrier", 22.0, "42 dB-Hz")])
def test_strength(kind, expected, words):
    echo = Echo("far", 0.0, 0.3, 0.1, 42.0, 1.0)
    channel = Channel(name="far", role="target", kind=kind, frequency_hz=1e8)
    assert strength_db(echo, channel) == pytest.approx(expected)
    assert peak_words(echo, channel) == words
