"""Opening whatever holds or delivers samples: the reader is chosen by the content, then by the name."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

from skyglint.errors import RequestError
from skyglint.signals.block import Source
from skyglint.signals.live import Device, LiveSource, Settings
from skyglint.signals.network import NetworkReceiver
from skyglint.signals.options import SourceOptions, needed, require
from skyglint.signals.pipe import Pipe
from skyglint.signals.raw import open_raw
from skyglint.signals.recording import Recording, open_for_reading
from skyglint.signals.sigmf_files import ARCHIVE, DATA, META, describes
from skyglint.signals.sigmf_reader import open_sigmf
from skyglint.signals.soapy import SoapyReceiver
from skyglint.signals.usb import UsbReceiver
from skyglint.signals.wav import open_wav
from skyglint.signals.wav_header import is_wav

WAV_EXTENSIONS = (".wav", ".wave", ".w64", ".rf64", ".bw64")


_Opener = Callable[[str, Settings], Device]
RECEIVERS: dict[str, _Opener] = {"rtltcp": NetworkReceiver, "usb": UsbReceiver, "soapy": SoapyReceiver}


def open_source(address: str | Path, options: SourceOptions | None = None) -> Source:
    """Open a recording by its path, a pipe, or a receiver by its address.

    Parameters
    ----------
    address
        A recording: SigMF (metadata, data or archive), WAV or raw samples; a pipe's path, or ``-`` for standard input,
        with raw samples or WAV; a receiver: ``rtltcp://host:port``, ``usb://number`` or ``soapy://arguments``.
    options
        What the user says of it, where it does not say it itself. A receiver needs centre and rate.

    Raises
    ------
    RequestError
        If it is not there, or an option is missing or contradicts what it states.
    SourceError
        If it is there and cannot be used.
    """
    options = options or SourceOptions()
    scheme, separator, _ = str(address).partition("://")
    if separator:
        return _open_receiver(str(address), scheme, options)
    if str(address) == "-":
        return Pipe(sys.stdin.buffer, "standard input", options)
    path = Path(address)
    try:
        if path.is_fifo():
            return Pipe(path.open("rb"), str(path), options)
        return _open_recording(path, options)
    except OSError as error:
        raise RequestError(f"{path}: cannot be read: {error.strerror or error}") from error


def _open_receiver(address: str, scheme: str, options: SourceOptions) -> LiveSource:
    if scheme not in RECEIVERS:
        expected = ", ".join(f"{name}://" for name in RECEIVERS)
        raise RequestError(f"{address}: expected a path or an address that starts with one of {expected}")
    for key in ("encoding", "start_unix", "dial_frequency_hz", "sideband"):
        if getattr(options, key) is not None:
            raise RequestError(f"{address}: a receiver states {key} itself: leave the option out")
    require(options, ["sample_rate_hz", "center_frequency_hz"], address)
    rate_hz = needed(options.sample_rate_hz, "sample_rate_hz", address)
    center_hz = needed(options.center_frequency_hz, "center_frequency_hz", address)
    device = RECEIVERS[scheme](address, Settings(center_hz, rate_hz, options.gain_db))
    return LiveSource(device, correction_ppm=options.correction_ppm)


def _open_recording(path: Path, options: SourceOptions) -> Recording:
    if path.suffix in (META, DATA, ARCHIVE):
        return open_sigmf(path, options)
    with_sigmf = path.with_name(path.name + META)
    if not path.exists() and with_sigmf.exists():
        return open_sigmf(with_sigmf, options)
    with open_for_reading(path) as file:
        start = file.read(16)
    if is_wav(start) or path.suffix.lower() in WAV_EXTENSIONS:
        beside = path.with_suffix(META)
        return open_sigmf(beside, options) if describes(beside, path.name) else open_wav(path, options)
    return open_raw(path, options)
