"""SoapySDR, with a module that stands in for the real one."""

import sys
import types

import pytest

from skyglint.errors import RequestError, SourceError
from skyglint.signals.block import Block
from skyglint.signals.live import LiveSource, Settings
from skyglint.signals.soapy import SoapyReceiver

SETTINGS = Settings(98e6, 10_000.0, 20.0)


class Library(types.SimpleNamespace):
    SOAPY_SDR_RX, SOAPY_SDR_CS16 = 1, "CS16"
    SOAPY_SDR_TIMEOUT, SOAPY_SDR_OVERFLOW = -1, -4

    def __init__(self, native=("CS16", 2048.0), results=(), absent=False):
        super().__init__(calls=[], native=native, results=list(results), absent=absent)

    def Device(self, arguments):
        if self.absent:
            raise RuntimeError("no device matches")
        self.calls.append(("Device", arguments))
        return Receiver(self)

    def errToStr(self, code):
        return f"error {code}"


class Receiver:
    def __init__(self, library):
        self.library = library

    def __getattr__(self, name):
        return lambda *values: self.library.calls.append((name, *values))

    def hasGainMode(self, direction, channel):
        return True

    def getNativeStreamFormat(self, direction, channel):
        return self.library.native

    def setupStream(self, direction, form):
        return "stream"

    def readStream(self, stream, buffers, n_samples, timeoutUs):
        if self.library.results:
            return types.SimpleNamespace(ret=self.library.results.pop(0))
        n_samples = min(n_samples, 100)
        buffers[0][: 2 * n_samples] = 1024
        buffers[0][: 2 * n_samples : 4] = -1024
        return types.SimpleNamespace(ret=n_samples)


@pytest.fixture
def install(monkeypatch):
    def with_(library):
        monkeypatch.setitem(sys.modules, "SoapySDR", library)
        return library

    return with_


def test_settings_samples_and_full_scale(install):
    # An overflow between reads is passed over.
    library = install(Library(results=[-4]))
    items = LiveSource(SoapyReceiver("soapy://driver=any", SETTINGS)).blocks(0.05)
    block = next(items)
    assert isinstance(block, Block)
    # A converter of 12 bits: half of its full scale.
    assert block.samples[:2].tolist() == [-0.5 + 0.5j, 0.5 + 0.5j]
    items.close()
    assert library.calls == [
        ("Device", "driver=any"),
        ("setSampleRate", 1, 0, 10_000.0),
        ("setFrequency", 1, 0, 98e6),
        ("setGainMode", 1, 0, False),
        ("setGain", 1, 0, 20.0),
        ("activateStream", "stream"),
        ("deactivateStream", "stream"),
        ("closeStream", "stream"),
    ]


def test_another_native_form_is_stretched_to_16_bits(install):
    install(Library(native=("CU8", 128.0)))
    receiver = SoapyReceiver("soapy://driver=any", SETTINGS)
    receiver.open()
    assert receiver.encoding.full_scale == 32_768
    receiver.close()


def test_what_goes_wrong_is_said(install):
    install(Library(results=[-1, -2]))
    receiver = SoapyReceiver("soapy://driver=any", SETTINGS)
    receiver.open()
    with pytest.raises(SourceError, match="no samples for 3 s"):
        receiver.read_into(memoryview(bytearray(400)))
    with pytest.raises(SourceError, match="reading failed: error -2"):
        receiver.read_into(memoryview(bytearray(400)))
    install(Library(absent=True))
    with pytest.raises(SourceError, match="cannot be opened: no device matches; is it plugged in"):
        SoapyReceiver("soapy://driver=any", SETTINGS).open()
    install(None)
    with pytest.raises(SourceError, match="SoapySDR is missing: install your system's package"):
        SoapyReceiver("soapy://driver=any", SETTINGS).open()
    with pytest.raises(RequestError, match="soapy://: expected arguments that name a receiver"):
        SoapyReceiver("soapy://", SETTINGS)
