"""Numbers as a person reads them.

A thin space before the unit, as many digits as the uncertainty allows, blank for what was not measured.
"""

from __future__ import annotations

import math
from datetime import UTC, datetime

#: The narrow no-break space: as thin as a thin space, and number and unit stay on one line.
THIN = "\u202f"
MINUS = "\u2212"


def fixed(value: float, decimals: int = 0) -> str:
    """Return a number with the given decimals and a true minus sign; blank for NaN.

    Examples
    --------
    >>> fixed(-0.04, 1), fixed(-12.25, 1), fixed(float("nan"))
    ('0.0', '−12.2', '')
    """
    if math.isnan(value):
        return ""
    text = f"{value:.{decimals}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", MINUS)


def quantity(value: float, unit: str, decimals: int = 0) -> str:
    r"""Return a number with its unit; blank for NaN. An angle's degree sign stands close.

    Examples
    --------
    >>> quantity(16.83, "dB", 1)
    '16.8\u202fdB'
    >>> quantity(46.2, "°")
    '46°'
    """
    text = fixed(value, decimals)
    if not text:
        return ""
    return f"{text}{unit}" if unit == "°" else f"{text}{THIN}{unit}"


def uncertainty_decimals(sd: float) -> int:
    """Return how many decimals a value with this standard error deserves (negative: tens, hundreds).

    The rule of the Particle Data Group (Review of Particle Physics, Introduction, "Rounding"): if the three leading
    digits of the error lie between 100 and 354, two digits are kept; up to 949, one; up to 999 it is rounded up to
    1000 and two are kept.
    """
    exponent = math.floor(math.log10(sd))
    leading = round(sd / 10.0 ** (exponent - 2))
    if leading >= 950:
        return -exponent
    return 1 - exponent if leading <= 354 else -exponent


def measured(value: float, sd: float, unit: str) -> str:
    r"""Return ``value ± sd unit`` with the digits that the error allows; blank where the value or its error is missing.

    Examples
    --------
    >>> measured(98.31, 4.2, "km")
    '98\u202f±\u202f4\u202fkm'
    """
    if math.isnan(value) or math.isnan(sd) or math.isinf(sd) or sd <= 0.0:
        return ""
    decimals = uncertainty_decimals(sd)
    shown = max(decimals, 0)
    return f"{fixed(round(value, decimals), shown)}{THIN}±{THIN}{quantity(round(sd, decimals), unit, shown)}"


def interval(value: float, low: float, high: float, unit: str) -> str:
    r"""Return ``value (low to high) unit``; the digits follow the interval's half width. Blank for NaN.

    Examples
    --------
    >>> interval(28.41, 22.7, 35.1, "/ h")
    '28 (23 to 35)\u202f/\u202fh'
    """
    if math.isnan(value) or math.isnan(low) or math.isnan(high):
        return ""
    half = (high - low) / 2.0
    decimals = max(uncertainty_decimals(half), 0) if half > 0.0 and math.isfinite(half) else 0
    numbers = f"{fixed(value, decimals)} ({fixed(low, decimals)} to {fixed(high, decimals)})"
    return numbers + THIN + unit.replace(" ", THIN)


def clock(unix: float, decimals: int = 2) -> str:
    """Return the UTC time of day, ``03:51:07.24``; with ``decimals`` of -1 only ``03:51``. Blank for NaN.

    Examples
    --------
    >>> clock(1786591867.2361), clock(1786591867.2361, -1), clock(1786579199.996)
    ('03:31:07.24', '03:31', '00:00:00.00')
    """
    if math.isnan(unix):
        return ""
    if decimals < 0:
        return datetime.fromtimestamp(60 * math.floor(unix / 60.0), UTC).strftime("%H:%M")
    scale = 10**decimals
    seconds, part = divmod(round(unix * scale), scale)
    text = datetime.fromtimestamp(seconds, UTC).strftime("%H:%M:%S")
    return f"{text}.{part:0{decimals}d}" if decimals else text


def date_and_clock(unix: float) -> str:
    """Return ``2026-08-13 03:51``, UTC."""
    return datetime.fromtimestamp(unix, UTC).strftime("%Y-%m-%d %H:%M")


def span(seconds: float) -> str:
    r"""Return a length of time in the two largest units that it fills; blank for NaN.

    Examples
    --------
    >>> span(20460), span(47), span(182.4), span(0.34), span(3600)
    ('5\u202fh 41\u202fmin', '47\u202fs', '3\u202fmin 2\u202fs', '0.34\u202fs', '1\u202fh')
    """
    if math.isnan(seconds):
        return ""
    if seconds < 9.995:
        return quantity(seconds, "s", 2 if seconds > 0.0 else 0)
    if seconds < 59.5:
        return quantity(seconds, "s")
    if seconds < 3599.5:
        return _two_units(*divmod(round(seconds), 60), "min", "s")
    return _two_units(*divmod(round(seconds / 60.0), 60), "h", "min")


def _two_units(large: int, small: int, large_unit: str, small_unit: str) -> str:
    first = f"{large}{THIN}{large_unit}"
    return f"{first} {small}{THIN}{small_unit}" if small else first


def frequency(hertz: float) -> str:
    r"""Return a radio frequency in megahertz, with no more digits than it has.

    Examples
    --------
    >>> frequency(98_300_000), frequency(143_050_000), frequency(100e6)
    ('98.3\u202fMHz', '143.05\u202fMHz', '100.0\u202fMHz')
    """
    whole, _, part = f"{hertz / 1e6:.6f}".partition(".")
    return f"{whole}.{part.rstrip('0') or '0'}{THIN}MHz"


def place(latitude_deg: float, longitude_deg: float) -> str:
    """Return coordinates to 0.1 degree, ``54.6° N, 2.9° W``."""
    north = f"{abs(latitude_deg):.1f}° {'N' if latitude_deg >= 0 else 'S'}"
    return f"{north}, {abs(longitude_deg):.1f}° {'E' if longitude_deg >= 0 else 'W'}"


def counted(count: int, singular: str, plural: str) -> str:
    """Return ``1 echo``, ``87 echoes``, ``no echoes``."""
    if count == 0:
        return f"no {plural}"
    return f"{count:,} {singular if count == 1 else plural}".replace(",", THIN)


def distance(kilometres: float) -> str:
    r"""Return a distance from a place that is known to 0.1 degree: to 10 km, and below 100 km to 5 km.

    Examples
    --------
    >>> distance(742.3), distance(63.9)
    ('740\u202fkm', '65\u202fkm')
    """
    step = 10.0 if kilometres >= 100.0 else 5.0
    return quantity(step * round(kilometres / step), "km")


def rate(hertz: float) -> str:
    r"""Return a sample rate.

    Examples
    --------
    >>> rate(2_400_000), rate(48_000)
    ('2.4\u202fMS/s', '48\u202fkS/s')
    """
    size, unit = (1e6, "MS/s") if hertz >= 1e6 else (1e3, "kS/s")
    return f"{hertz / size:g}{THIN}{unit}"
