"""What the user says of a source that the source does not say itself."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, TypeVar

from skyglint.errors import RequestError, SourceError
from skyglint.utc import format_utc

Sideband = Literal["usb", "lsb"]

Limits = tuple[float, float]

#: Rates and frequencies beyond these are slips of the pen.
RATE_HZ: Limits = (1.0, 1e9)
FREQUENCY_HZ: Limits = (1.0, 300e9)
#: From 1970 to 2200. A computer without a clock says 1970, and that is kept: it is what the recording states.
UNIX: Limits = (0.0, 7_258_118_400.0)

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
    correction_ppm
        How much faster than stated a receiver's clock runs.
    """

    encoding: str | None = None
    sample_rate_hz: float | None = None
    center_frequency_hz: float | None = None
    start_unix: float | None = None
    dial_frequency_hz: float | None = None
    sideband: Sideband | None = None
    gain_db: float | None = None
    correction_ppm: float = 0.0

    def __post_init__(self) -> None:
        _check_option("sample_rate_hz", self.sample_rate_hz, RATE_HZ)
        _check_option("center_frequency_hz", self.center_frequency_hz, FREQUENCY_HZ)
        _check_option("dial_frequency_hz", self.dial_frequency_hz, FREQUENCY_HZ)
        _check_option("start_unix", self.start_unix, UNIX)
        if self.sideband not in (None, "usb", "lsb"):
            raise RequestError(f'--sideband = "{self.sideband}": expected usb or lsb')


def _check_option(name: str, value: float | None, limits: Limits) -> None:
    if value is not None and not limits[0] <= value <= limits[1]:
        flag = _EXAMPLES[name].split()[0]
        raise RequestError(f"{flag} = {value:g}: expected {limits[0]:g} to {limits[1]:g}")


def require(options: SourceOptions, keys: Iterable[str], where: str) -> None:
    """Make sure that the user says what a source does not, and name all that is missing in one message.

    Raises
    ------
    RequestError
        If any of the options is missing.
    """
    missing = [key for key in keys if getattr(options, key) is None]
    if missing:
        raise RequestError(_missing(missing, where))


def _missing(keys: list[str], where: str) -> str:
    words = [_WORDS[key] for key in keys]
    listed = " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
    examples = " ".join(_EXAMPLES[key] for key in keys)
    return f"{where}: does not state {listed}: give {'them' if len(keys) > 1 else 'it'}, for example {examples}"


def needed(option: _Value | None, key: str, where: str) -> _Value:
    """Return what the user says.

    Raises
    ------
    RequestError
        If the user does not.
    """
    if option is None:
        raise RequestError(_missing([key], where))
    return option


def settled(name: str, stated: _Value | None, option: _Value | None, key: str, where: str) -> _Value:
    """Return what the source states or, where it states nothing, what the user says.

    Parameters
    ----------
    name
        What the source calls it, such as ``core:frequency``.
    stated, option
        What the source states, and what the user says.
    key
        The option's name in ``SourceOptions``.
    where
        The source, for the message.

    Raises
    ------
    RequestError
        If neither says it, or both do and differ.
    """
    if stated is None:
        return needed(option, key, where)
    if option is not None and not _same(stated, option):
        flag = _EXAMPLES[key].split()[0]
        both = [format_utc(float(value)) if key == "start_unix" else value for value in (stated, option)]
        raise RequestError(f"{where}: {name} states {both[0]}, {flag} says {both[1]}: leave the option out")
    return stated


def _same(stated: float | str, option: float | str) -> bool:
    if isinstance(stated, str) or isinstance(option, str):
        return stated == option
    return math.isclose(stated, option, rel_tol=1e-12)


def shown(value: object) -> str:
    """Return a value as a message shows it, cut where it is long."""
    text = repr(value)
    return text if len(text) <= 40 else text[:37] + "..."


def checked_number(value: object, limits: Limits, name: str, where: str) -> float:
    """Return a number that a file states, if it can be meant.

    Raises
    ------
    SourceError
        If it is no number within the limits.
    """
    low, high = limits
    if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
        raise SourceError(f"{where}: {name} = {shown(value)}: expected a number from {low:g} to {high:g}")
    return float(value)
