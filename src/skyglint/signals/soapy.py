"""Any receiver that the system's SoapySDR knows, where that is installed."""

from __future__ import annotations

import importlib
from dataclasses import replace
from typing import Any

import numpy as np

from skyglint.errors import RequestError, SourceError
from skyglint.signals.block import Encoding
from skyglint.signals.encodings import ENCODINGS
from skyglint.signals.live import Settings

STALL_S = 3.0
_STREAM_FORMAT = "CS16"


class SoapyReceiver:
    """The connection through SoapySDR, a ``Device``.

    Parameters
    ----------
    address
        ``soapy://`` followed by the arguments that name the receiver, such as ``soapy://driver=hackrf``.
    settings
        Made whenever the receiver is opened.

    Raises
    ------
    RequestError
        If the address names no receiver.
    """

    def __init__(self, address: str, settings: Settings) -> None:
        self._arguments = address.removeprefix("soapy://")
        if not self._arguments:
            raise RequestError(f"{address}: expected arguments that name a receiver, such as soapy://driver=...")
        self.name, self.settings = address, settings
        self.encoding: Encoding = ENCODINGS["ci16_le"]
        self._library: Any = None
        self._device: Any = None
        self._stream: Any = None

    def open(self) -> None:
        """Open the receiver, make the settings and let it run.

        Raises
        ------
        SourceError
            If SoapySDR is missing, or the receiver is, or is in use.
        """
        try:
            library = importlib.import_module("SoapySDR")
        except ImportError as error:
            raise SourceError(
                f"{self.name}: SoapySDR is missing: install your system's package of it with its Python module"
            ) from error
        receive, settings = library.SOAPY_SDR_RX, self.settings
        try:
            device = library.Device(self._arguments)
            self._library, self._device = library, device
            device.setSampleRate(receive, 0, settings.sample_rate_hz)
            device.setFrequency(receive, 0, settings.center_frequency_hz)
            if device.hasGainMode(receive, 0):
                device.setGainMode(receive, 0, settings.gain_db is None)
            if settings.gain_db is not None:
                device.setGain(receive, 0, settings.gain_db)
            native, full_scale = device.getNativeStreamFormat(receive, 0)
            if native == _STREAM_FORMAT:
                # A converter of fewer bits is not always stretched to 16.
                self.encoding = replace(self.encoding, full_scale=float(full_scale))
            self._stream = device.setupStream(receive, library.SOAPY_SDR_CS16)
            device.activateStream(self._stream)
        except RuntimeError as error:
            raise SourceError(
                f"{self.name}: cannot be opened: {error}; is it plugged in, and not in use by another program?"
            ) from error

    def read_into(self, buffer: memoryview) -> int:
        """Wait for samples and return how many bytes came.

        Raises
        ------
        SourceError
            If none come for 3 s, or the receiver is gone.
        """
        values = np.frombuffer(buffer, dtype=np.int16)
        while True:
            result = self._device.readStream(self._stream, [values], len(values) // 2, timeoutUs=int(1e6 * STALL_S))
            if result.ret > 0:
                return int(result.ret) * self.encoding.bytes_per_sample
            if result.ret == self._library.SOAPY_SDR_TIMEOUT:
                raise SourceError(f"{self.name}: no samples for {STALL_S:g} s")
            # An overflow lost samples; how many, the watch over the clock finds out.
            if result.ret != self._library.SOAPY_SDR_OVERFLOW:
                raise SourceError(f"{self.name}: reading failed: {self._library.errToStr(result.ret)}")

    def close(self) -> None:
        """Stop the receiver and let go of it."""
        device, stream, self._device, self._stream = self._device, self._stream, None, None
        if device is not None and stream is not None:
            device.deactivateStream(stream)
            device.closeStream(stream)
