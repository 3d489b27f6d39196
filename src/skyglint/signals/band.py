"""Which radio frequencies samples can show."""

from __future__ import annotations

from skyglint.errors import RequestError


def real_band(dial_frequency_hz: float, sample_rate_hz: float, sideband: str) -> tuple[float, float]:
    """Return the radio band of single-sideband audio: above the dial frequency (``usb``) or below it (``lsb``).

    An audio tone at f hertz was a carrier at dial + f in the upper and at dial - f in the lower sideband. The spectrum
    of real samples shows the tone at +f and at -f; the half outside the returned band is its mirror image.

    Raises
    ------
    RequestError
        If the sideband is neither.
    """
    if sideband == "usb":
        return dial_frequency_hz, dial_frequency_hz + sample_rate_hz / 2
    if sideband == "lsb":
        return dial_frequency_hz - sample_rate_hz / 2, dial_frequency_hz
    raise RequestError(f'sideband = "{sideband}": expected usb or lsb')
