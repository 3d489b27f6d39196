"""A USB dongle on this computer, through the driver library that the extra ``usb`` installs."""

from __future__ import annotations

import contextlib
import importlib
import queue
import threading
from typing import Any

from skyglint.errors import RequestError, SourceError
from skyglint.signals.block import Encoding
from skyglint.signals.encodings import ENCODINGS
from skyglint.signals.live import Settings

STALL_S = 3.0
#: Bytes of one transfer, and how many wait for whoever reads (1.7 s at 2.4 MS/s) before the newest are dropped.
TRANSFER_BYTES, WAITING = 1 << 17, 64


class UsbReceiver:
    """The connection to a dongle, a ``Device``.

    Parameters
    ----------
    address
        Such as ``usb://0``, the number of the dongle.
    settings
        Made whenever the dongle is opened.

    Raises
    ------
    RequestError
        If the address cannot be one.
    """

    encoding: Encoding = ENCODINGS["cu8"]

    def __init__(self, address: str, settings: Settings) -> None:
        number = address.removeprefix("usb://") or "0"
        if not number.isdecimal():
            raise RequestError(f"{address}: expected the number of a dongle, such as usb://0")
        self.name, self.settings, self._number = address, settings, int(number)
        self._receiver: Any = None
        self._thread: threading.Thread | None = None
        self._waiting: queue.Queue[bytes | SourceError] = queue.Queue(WAITING)
        self._piece = memoryview(b"")

    def open(self) -> None:
        """Open the dongle, make the settings and let it run.

        Raises
        ------
        SourceError
            If the driver library is missing, or the dongle is, or is in use.
        """
        try:
            driver = importlib.import_module("rtlsdr")
        except ImportError as error:
            raise SourceError(
                f"{self.name}: the driver library is missing ({error}): pip install pyrtlsdr pyrtlsdrlib brings it"
            ) from error
        try:
            self._receiver = driver.RtlSdr(device_index=self._number)
            self._receiver.set_sample_rate(round(self.settings.sample_rate_hz))
            self._receiver.set_center_freq(round(self.settings.center_frequency_hz))
            self._receiver.set_gain("auto" if self.settings.gain_db is None else self.settings.gain_db)
        except OSError as error:
            raise SourceError(
                f"{self.name}: cannot be opened: {error}; is it plugged in, and not in use by another program?"
            ) from error
        self._waiting, self._piece = queue.Queue(WAITING), memoryview(b"")
        self._thread = threading.Thread(target=self._run, args=(self._receiver, self._waiting), daemon=True)
        self._thread.start()

    def read_into(self, buffer: memoryview) -> int:
        """Wait for samples and return how many bytes came.

        Raises
        ------
        SourceError
            If none come for 3 s, or the dongle is gone.
        """
        if not self._piece:
            try:
                piece = self._waiting.get(timeout=STALL_S)
            except queue.Empty:
                raise SourceError(f"{self.name}: no samples for {STALL_S:g} s") from None
            if isinstance(piece, SourceError):
                raise piece
            self._piece = memoryview(piece)
        n_bytes = min(len(buffer), len(self._piece))
        buffer[:n_bytes] = self._piece[:n_bytes]
        self._piece = self._piece[n_bytes:]
        return n_bytes

    def close(self) -> None:
        """Stop the dongle and let go of it."""
        receiver, thread, self._receiver, self._thread = self._receiver, self._thread, None, None
        if receiver is None:
            return
        # A dongle that was pulled out cannot be stopped or closed any more, and need not be.
        with contextlib.suppress(OSError):
            if thread is not None:
                receiver.cancel_read_async()
                thread.join(STALL_S)
            receiver.close()

    def _run(self, receiver: Any, waiting: queue.Queue[bytes | SourceError]) -> None:
        def take(values: Any, _: Any) -> None:
            # When nobody reads, the newest are dropped; the watch over the clock finds the loss.
            with contextlib.suppress(queue.Full):
                waiting.put_nowait(bytes(values))

        reason = "the dongle stopped"
        try:
            receiver.read_bytes_async(take, TRANSFER_BYTES)
        except OSError as error:
            reason = str(error)
        with contextlib.suppress(queue.Full):
            waiting.put_nowait(SourceError(f"{self.name}: {reason}"))
