"""Why a candidate stands where it stands, in words with the numbers behind them."""

from __future__ import annotations

import numpy as np

from skyglint.plan.candidate import Candidate

#: Others' share of the echoes below which a frequency counts as its own.
_ALONE_SHARE = 0.95


def reasons(one: Candidate) -> tuple[str, ...]:
    """Return short sentences without a full stop: hidden or not, alone or not, direct signal, echoes, aim, doubts."""
    found = [_hidden(one), _direct(one), _alone(one), _echoes(one)]
    found.append(f"aim {one.aim.azimuth_deg:.0f}°, {one.aim.elevation_deg:.0f}° up")
    if one.floor_rise_db > 1:
        found.append(f"direct signals lift the channel's floor by {one.floor_rise_db:.0f} dB")
    if not one.antenna_fits:
        found.append("outside the band that the receiver is tuned to: 10 dB less antenna gain assumed")
    if not one.height_known:
        found.append(f"the list gives no height: {one.height_m:.0f} m above sea level assumed")
    if one.transmitter.directional and one.transmitter.pattern is None:
        found.append("directional, and the list gives no pattern: its largest power was taken")
    return tuple(found)


def _hidden(one: Candidate) -> str:
    if one.hidden_m > 0:
        return f"hidden by {_metres(one.hidden_m)}"
    return f"its top stands {_metres(-one.hidden_m)} above the horizon: not hidden"


def _metres(metres: float) -> str:
    step = 10 if metres >= 100 else 1
    return f"{step * round(metres / step):,.0f} m".replace(",", "\u202f")


def _direct(one: Candidate) -> str:
    median, rare = (f"{level:.0f} dB".replace("-", "−") for level in (one.direct_snr_db, one.direct_snr_1_db))
    levels = f"direct {median} against the noise, {rare} for 1 % of the time"
    words = {"silent": "silent", "rustles": "rustles at times", "heard": "never silent"}
    return f"{words[one.verdict]}: {levels}"


def _alone(one: Candidate) -> str:
    same = [n for n in one.neighbours if abs(n.offset_hz) < 50e3]
    nearest = min(same, key=lambda n: n.distance_km) if same else None
    if one.share_of_echoes >= _ALONE_SHARE:
        if nearest is None:
            return "alone on its frequency within reach"
        return f"all but alone on its frequency: {100 * one.share_of_echoes:.0f} % of the echoes are its own"
    worst = max(one.neighbours, key=lambda n: n.echoes_per_h)
    where = (
        "on the same frequency"
        if abs(worst.offset_hz) < 50e3
        else f"{worst.offset_hz / 1e3:+.0f} kHz away".replace("-", "−")
    )
    return (
        f"{100 * one.share_of_echoes:.0f} % of the echoes are its own; most others from {worst.name}, {where}, "
        f"{worst.distance_km:.0f} km at {worst.bearing_deg:.0f}°"
    )


def _echoes(one: Candidate) -> str:
    if not np.any(one.echoes_per_h > 0):
        return "no part of the layer is seen from both ends"
    hour = int(np.argmax(one.echoes_per_h))
    least = float(np.min(one.echoes_per_h))
    return f"{_few(float(one.echoes_per_h[hour]))} echoes an hour at {hour} h solar time, {_few(least)} at the least"


def _few(count: float) -> str:
    return f"{count:.0f}" if count >= 9.5 else f"{count:.1f}"
