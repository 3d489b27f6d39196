"""What the user says of a source that the source does not say itself."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeVar

from skyglint.errors import RequestError, SourceError

Sideband = Literal["usb", "lsb"]

#: Rates and frequencies beyond these are slips of the pen.
MAX_RATE_HZ, MAX_FREQUENCY_HZ = 1e9, 300e9
#: POSIX seconds of the year 2200.
MAX_UNIX = 7_258_118_400.0

_Value = TypeVar("_Value", float, str)

_EXAMPLES = {
    "encoding": "--encoding cu8",
    "sample_rate_hz": "--sample-rate-hz 2400000",
    "center_frequency_hz": "--center-frequency-hz 98000000",
    "start_unix": "--start 2026-08-13T02:00:00Z",
    "dial_frequency_hz": "--dial-frequency-hz 143049000",
    "sideband": "--sideband usb",
}
_WORDS = {
    "encoding": "how its samples are written",
    "sample_rate_hz": "its sample rate",
    "center_frequency_hz": "its centre frequency",
    "start_unix": "when it starts",
    "dial_frequency_hz": "the dial frequency of the receiver",
    "sideband": "the sideband (usb or lsb)",
}


@dataclass(frozen=True, slots=True)
class SourceOptions:
    """What the user says of a source; ``None`` where nothing was said.

    An option states what the source itself does not; where both speak and differ, that is an error.

    Attributes
    ----------
    encoding
        SigMF datatype of a raw file.
    sample_rate_hz, center_frequency_hz
        Of a raw file or a receiver; the centre also of I/Q in a WAV file.
    start_unix
        UTC of the first sample.
    dial_frequency_hz, sideband
        Of a receiver in single-sideband mode whose audio was recorded: audio hertz are added to the dial frequency
        (``usb``) or subtracted from it (``lsb``).
    gain_db
        Of a receiver; ``None`` leaves the gain to the receiver's own control.
    """

    encoding: str | None = None
    sample_rate_hz: float | None = None
    center_frequency_hz: float | None = None
    start_unix: float | None = None
    dial_frequency_hz: float | None = None
    sideband: Sideband | None = None
    gain_db: float | None = None

    def __post_init__(self) -> None:
        checked_option("sample_rate_hz", self.sample_rate_hz, MAX_RATE_HZ)
        checked_option("center_frequency_hz", self.center_frequency_hz, MAX_FREQUENCY_HZ)
        checked_option("dial_frequency_hz", self.dial_frequency_hz, MAX_FREQUENCY_HZ)
        checked_option("start_unix", self.start_unix, MAX_UNIX)
        if self.sideband not in (None, "usb", "lsb"):
            raise RequestError(f'--sideband = "{self.sideband}": expected usb or lsb')


def checked_option(name: str, value: float | None, limit: float) -> None:
    """Refuse a number that cannot be meant.

    Raises
    ------
    RequestError
        If the value is not finite, not above 0, or beyond the limit.
    """
    if value is not None and not 0 < value <= limit:
        flag = _EXAMPLES[name].split()[0]
        raise RequestError(f"{flag} = {value:g}: expected a number above 0 and up to {limit:g}")


def settled(name: str, stated: _Value | None, option: _Value | None, key: str, where: str) -> _Value:
    """Return what the source states or, where it states nothing, what the user says.

    Parameters
    ----------
    where
        The source, for the message.
    key
        The option's name in ``SourceOptions``.
    name
        What the source calls it, such as ``core:frequency``.

    Raises
    ------
    RequestError
        If neither says it, or both do and differ.
    """
    if stated is None:
        if option is None:
            raise RequestError(f"{where}: does not state {_WORDS[key]}: give it, for example {_EXAMPLES[key]}")
        return option
    if option is not None and not _same(stated, option):
        flag = _EXAMPLES[key].split()[0]
        raise RequestError(f"{where}: {name} states {stated}, {flag} says {option}: leave the option out")
    return stated


def _same(stated: float | str, option: float | str) -> bool:
    if isinstance(stated, str) or isinstance(option, str):
        return stated == option
    return math.isclose(stated, option, rel_tol=1e-12)


def checked_number(value: object, limit: float, name: str, where: str) -> float:
    """Return a number that a file states, if it can be meant.

    Raises
    ------
    SourceError
        If it is not a number above 0 and up to the limit.
    """
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value <= limit:
        raise SourceError(f"{where}: {name} = {value!r}: expected a number above 0 and up to {limit:g}")
    return float(value)
