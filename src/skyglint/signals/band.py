"""Which radio frequencies samples can show, and what the user must say for it to be known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

from skyglint.errors import RequestError
from skyglint.signals.block import Encoding
from skyglint.signals.options import SourceOptions, needed, require


@dataclass(frozen=True, slots=True)
class Band:
    """Radio frequencies of samples.

    Attributes
    ----------
    center_hz
        At 0 Hz baseband; for audio of a single sideband the dial frequency.
    low_hz, high_hz
        The band that is true.
    """

    center_hz: float
    low_hz: float
    high_hz: float

    @classmethod
    def of_iq(cls, center_hz: float, sample_rate_hz: float) -> Self:
        """Return the band of I/Q samples: half the rate to each side."""
        return cls(center_hz, center_hz - sample_rate_hz / 2, center_hz + sample_rate_hz / 2)

    @classmethod
    def of_audio(cls, dial_hz: float, sample_rate_hz: float, sideband: str, where: str) -> Self:
        """Return the band of single-sideband audio: above the dial frequency (``usb``) or below it (``lsb``).

        An audio tone at f hertz was a carrier at dial + f in the upper and at dial - f in the lower sideband. The
        spectrum of real samples shows the tone at +f and at -f; the half outside the band is its mirror image.

        Raises
        ------
        RequestError
            If the sideband is neither.
        """
        if sideband not in ("usb", "lsb"):
            raise RequestError(f'{where}: sideband = "{sideband}": expected usb or lsb')
        low_hz = dial_hz if sideband == "usb" else dial_hz - sample_rate_hz / 2
        return cls(dial_hz, low_hz, low_hz + sample_rate_hz / 2)


def said(encoding: Encoding, sample_rate_hz: float, options: SourceOptions, where: str) -> tuple[Band, float]:
    """Return the band and the start (POSIX seconds) that the user states for samples that state neither.

    Raises
    ------
    RequestError
        If an option does not go with such samples, or is missing; all that are missing in one message.
    """
    refuse_other_kind(encoding, options, where)
    require(options, tuning_keys(encoding), where)
    start_unix = needed(options.start_unix, "start_unix", where)
    if encoding.components == 2:
        center_hz = needed(options.center_frequency_hz, "center_frequency_hz", where)
        return Band.of_iq(center_hz, sample_rate_hz), start_unix
    dial_hz = needed(options.dial_frequency_hz, "dial_frequency_hz", where)
    return Band.of_audio(dial_hz, sample_rate_hz, str(options.sideband), where), start_unix


def refuse_other_kind(encoding: Encoding, options: SourceOptions, where: str) -> None:
    """Refuse options of I/Q for audio, and of audio for I/Q.

    Raises
    ------
    RequestError
        If there are any.
    """
    if encoding.components == 1 and options.center_frequency_hz is not None:
        raise RequestError(f"{where}: holds audio: give --dial-frequency-hz instead of --center-frequency-hz")
    if encoding.components == 2 and (options.sideband is not None or options.dial_frequency_hz is not None):
        raise RequestError(f"{where}: holds I/Q; --sideband and --dial-frequency-hz are for audio of one channel")


def tuning_keys(encoding: Encoding) -> list[str]:
    """Return the options that say frequency and start of such samples."""
    return [*(["dial_frequency_hz", "sideband"] if encoding.components == 1 else ["center_frequency_hz"]), "start_unix"]
