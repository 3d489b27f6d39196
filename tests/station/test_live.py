"""The live feed: what is encoded comes back, rubbish is refused, and sending never waits."""

import math
import socket

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from skyglint.station.live import MOST_BYTES, LiveEcho, LiveMessage, Publisher, decode, encode

LEVEL = st.floats(-60, 60) | st.just(math.nan)


@given(
    power=st.dictionaries(st.text(max_size=8), LEVEL, max_size=4),
    spectrum=st.lists(st.floats(-9, 50, width=32), max_size=50),
    sentence=st.text(max_size=40),
)
def test_round_trip(power, spectrum, sentence):
    echo = LiveEcho("north-sea", 1000.25, 0.5, 12.0, "underdense")
    spectra = {"north-sea": np.array(spectrum, dtype=np.float32)}
    message = LiveMessage(1001.0, 0.1, "watching", sentence, power, {}, spectra, (echo,))
    back = decode(encode(message))
    assert (back.sentence, back.echoes, back.end_unix) == (sentence, (echo,), 1001.0)
    assert back.power_db == pytest.approx(power, abs=0.006, nan_ok=True)
    np.testing.assert_allclose(back.spectra_db["north-sea"], spectra["north-sea"], atol=0.126)


def test_spectra_are_left_out_of_a_message_that_would_be_too_large():
    spectra = {f"c{n}": np.zeros(1000, dtype=np.float32) for n in range(60)}
    datagram = encode(LiveMessage(0.0, 0.1, "watching", "", spectra_db=spectra))
    assert len(datagram) <= MOST_BYTES
    assert decode(datagram).spectra_db == {}


@pytest.mark.parametrize("datagram", [b"", b"\xff\xfe", b"[]", b"{}", b"null", b'{"end_unix": "x"}'])
def test_rubbish_is_refused(datagram):
    with pytest.raises(ValueError, match=r".*"):
        decode(datagram)


def test_sending_with_nobody_listening_does_not_wait_or_fail():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    publisher = Publisher(port)
    for _ in range(5):
        publisher.send(LiveMessage(0.0, 0.1, "starting", "Starting."))
    publisher.close()
