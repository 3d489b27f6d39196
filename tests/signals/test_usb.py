"""The USB dongle, with a driver module that stands in for the real one."""

import ctypes
import sys
import threading
import types
from typing import ClassVar

import pytest

from skyglint.errors import RequestError, SourceError
from skyglint.signals import usb
from skyglint.signals.block import Block
from skyglint.signals.live import LiveSource, Settings
from skyglint.signals.options import SourceOptions
from skyglint.signals.sources import open_source
from skyglint.signals.usb import UsbReceiver

SETTINGS = Settings(98e6, 100_000.0, 29.7)


class Dongle:
    """The methods of the driver's class that are used, with its types: it calls back with ctypes arrays."""

    made: ClassVar = []
    transfers = 3
    absent = False
    fails = False

    def __init__(self, device_index):
        if self.absent:
            raise OSError("<LIBUSB_ERROR_NOT_FOUND (-5): Entity not found>")
        self.calls = [("open", device_index)]
        self.stop = threading.Event()
        Dongle.made.append(self)

    def __getattr__(self, name):
        return lambda value: self.calls.append((name, value))

    def read_bytes_async(self, callback, num_bytes):
        for number in range(self.transfers):
            callback((ctypes.c_ubyte * num_bytes)(*[number, number, 99, 99] * (num_bytes // 4)), None)
        if self.fails:
            raise OSError("<LIBUSB_ERROR_NO_DEVICE (-4)>")
        self.stop.wait(5)

    def cancel_read_async(self):
        self.stop.set()

    def close(self):
        self.calls.append(("close", None))


@pytest.fixture
def driver(monkeypatch):
    monkeypatch.setitem(sys.modules, "rtlsdr", types.SimpleNamespace(RtlSdr=Dongle))
    monkeypatch.setattr(Dongle, "made", [])
    return monkeypatch


def test_settings_samples_and_end(driver):
    receiver = UsbReceiver("usb://1", SETTINGS)
    receiver.open()
    buffer = bytearray(1 << 17)
    seen = []
    for _ in range(3):
        assert receiver.read_into(memoryview(buffer)[: 1 << 16]) == 1 << 16
        assert receiver.read_into(memoryview(buffer)[1 << 16 :]) == 1 << 16
        seen.append(buffer[0])
    assert seen == [0, 1, 2]
    receiver.close()
    receiver.close()
    (dongle,) = Dongle.made
    assert dongle.calls == [
        ("open", 1),
        ("set_sample_rate", 100_000),
        ("set_center_freq", 98_000_000),
        ("set_gain", 29.7),
        ("close", None),
    ]


def test_without_a_gain_the_tuner_controls_it_itself(driver):
    receiver = UsbReceiver("usb://0", Settings(98e6, 100_000.0, None))
    receiver.open()
    receiver.close()
    assert ("set_gain", "auto") in Dongle.made[0].calls


def test_it_is_a_live_source(driver):
    source = open_source("usb://0", SourceOptions(sample_rate_hz=100_000.0, center_frequency_hz=98e6))
    items = source.blocks(0.05)
    block = next(items)
    assert isinstance(block, Block)
    assert block.n_samples == 5_000
    items.close()
    assert Dongle.made[0].calls[-1] == ("close", None)


def test_a_dongle_that_stalls_or_is_pulled_out(driver):
    driver.setattr(usb, "STALL_S", 0.05)
    driver.setattr(Dongle, "transfers", 0)
    receiver = UsbReceiver("usb://0", SETTINGS)
    receiver.open()
    with pytest.raises(SourceError, match=r"usb://0: no samples for 0\.05 s"):
        receiver.read_into(memoryview(bytearray(10)))
    receiver.close()
    driver.setattr(Dongle, "fails", True)
    receiver.open()
    with pytest.raises(SourceError, match="usb://0: <LIBUSB_ERROR_NO_DEVICE"):
        receiver.read_into(memoryview(bytearray(10)))
    receiver.close()


def test_a_reader_that_is_too_slow_loses_the_newest(driver):
    driver.setattr(Dongle, "transfers", usb.WAITING + 5)
    receiver = UsbReceiver("usb://0", SETTINGS)
    receiver.open()
    Dongle.made[0].stop.wait(0.2)
    buffer = memoryview(bytearray(usb.TRANSFER_BYTES))
    seen = []
    for _ in range(usb.WAITING):
        receiver.read_into(buffer)
        seen.append(buffer[0])
    assert seen == list(range(usb.WAITING))
    receiver.close()


def test_what_is_not_there_is_said(driver):
    driver.setattr(Dongle, "absent", True)
    with pytest.raises(SourceError, match=r"usb://0: cannot be opened: <LIBUSB_ERROR_NOT_FOUND.*is it plugged in"):
        next(LiveSource(UsbReceiver("usb://0", SETTINGS)).blocks())
    driver.setitem(sys.modules, "rtlsdr", None)
    with pytest.raises(SourceError, match=r"the driver library is missing .*pip install pyrtlsdr"):
        UsbReceiver("usb://0", SETTINGS).open()
    with pytest.raises(RequestError, match="usb://left: expected the number of a dongle, such as usb://0"):
        UsbReceiver("usb://left", SETTINGS)
