"""A set to listen to: targets for one aim within one receiver's span, a guard, a reference, a control aside."""

from __future__ import annotations

from typing import Final

import numpy as np

from skyglint.plan.aiming import Aim, best_aim, layer_gain_dbi
from skyglint.plan.band import Band
from skyglint.plan.candidate import Candidate
from skyglint.plan.planning import Plan
from skyglint.plan.proposal import WIDTH_HZ, Part, Proposal, Proposed, apart
from skyglint.plan.span import USABLE_SPAN, tuning_hz, window_hz

#: A transmitter with less than one own echo a day is no target.
_LEAST_SCORE: Final = 1.0
_ASIDE_DEG: Final = 75.0
#: Part of the beamwidth to either side of the aim within which targets share an antenna.
_BEAM_SHARE: Final = 0.75
#: What a reference and a control in the span are worth, as parts of the targets' sum (working assumption).
_REFERENCE_BONUS: Final = 0.3
_CONTROL_BONUS: Final = 0.1
_ANCHORS: Final = 15


def propose(plan: Plan) -> Proposal | None:
    """Return the best set, or None when no candidate has an own echo a day to offer."""
    useful = [one for one in plan.candidates if one.score >= _LEAST_SCORE and one.path.cell.size]
    # An antenna is built for one band, and the site file names it by where the receiver is tuned.
    useful = [one for one in useful if one.antenna_fits] or useful
    if not useful:
        return None
    targets = _targets(plan, useful)
    bearings = [one.bearing_deg for one in targets]
    middle = float(np.mean([one.frequency_hz for one in targets]))
    aim = best_aim([one.path for one in targets], plan.layer, plan.site.antenna, middle, bearings)
    band = Band(plan, aim)
    channels = [_proposed("target", one, _target_words(plan, one, aim)) for one in targets]
    reference = band.reference(channels)
    if reference is not None:
        channels.append(reference)
    control = _control(plan, useful, channels, aim)
    if control is not None:
        reason = f"on another bearing, {control.bearing_deg:.0f}°"
        channels.insert(len(targets), _proposed("control", control, reason))
    guard = band.guard(channels)
    if guard is not None:
        channels.append(guard)
    center, clear = tuning_hz(plan.site, channels, band.strong_hz())
    rate = sum(_rate(plan, one, aim) for one in targets)
    return Proposal(aim, center, tuple(channels), rate, _warnings(plan, channels, band, center, clear))


def _proposed(part: Part, one: Candidate, reason: str) -> Proposed:
    return Proposed(part, one.kind, one.frequency_hz, one.transmitter, one.height_m, reason)


def _target_words(plan: Plan, one: Candidate, aim: Aim) -> str:
    where = f"{one.distance_km:.0f} km at {one.bearing_deg:.0f}°"
    return f"{where}, {one.reasons[0]}, about {_rate(plan, one, aim):.0f} echoes an hour with this aim"


def _rate(plan: Plan, one: Candidate, aim: Aim) -> float:
    gain_dbi = layer_gain_dbi(plan.layer, plan.site.antenna, one.frequency_hz, aim)
    return float(one.path.total(gain_dbi - one.off_band_db))


def _targets(plan: Plan, useful: list[Candidate]) -> list[Candidate]:
    """Return the targets whose scores, with one aim and in one span, add up to most; a reference there counts too."""
    best: tuple[float, list[Candidate]] = (-1.0, [])
    beam = _BEAM_SHARE * plan.site.antenna.beamwidth_deg
    for anchor in useful[:_ANCHORS]:
        worth = {
            k: one.score * _rate(plan, one, anchor.aim) / max(_rate(plan, one, one.aim), 1e-9)
            for k, one in enumerate(useful)
            if one is anchor or _aside(one.bearing_deg, anchor.aim.azimuth_deg) <= beam
        }
        order = sorted(worth, key=lambda k: -worth[k])
        band = Band(plan, anchor.aim)
        for first in order:
            chosen = _within_span(plan, useful, order, useful[first])
            targets = [useful[k] for k in chosen]
            value = sum(worth[k] for k in chosen) * _completeness(plan, useful, targets, band, anchor.aim)
            if value > best[0]:
                best = (value, targets)
    return best[1]


def _within_span(plan: Plan, useful: list[Candidate], order: list[int], lowest: Candidate) -> list[int]:
    """Return the best that fit into one span from the frequency of ``lowest`` upwards."""
    room = max(USABLE_SPAN * plan.site.receiver.sample_rate_hz - WIDTH_HZ[lowest.kind], 0.0)
    chosen: list[int] = []
    for k in order:
        one = useful[k]
        fits = 0 <= one.frequency_hz - lowest.frequency_hz <= room
        free = all(apart(one.frequency_hz, one.kind, useful[c].frequency_hz, useful[c].kind) for c in chosen)
        if fits and free and len(chosen) < plan.settings.targets:
            chosen.append(k)
    return chosen


def _completeness(plan: Plan, useful: list[Candidate], targets: list[Candidate], band: Band, aim: Aim) -> float:
    channels = [_proposed("target", one, "") for one in targets]
    reference, control = band.reference(channels), _control(plan, useful, channels, aim)
    return 1 + _REFERENCE_BONUS * (reference is not None) + _CONTROL_BONUS * (control is not None)


def _aside(bearing1_deg: float, bearing2_deg: float) -> float:
    return abs((bearing1_deg - bearing2_deg + 180) % 360 - 180)


def _control(plan: Plan, useful: list[Candidate], channels: list[Proposed], aim: Aim) -> Candidate | None:
    low, high = window_hz(plan.site, channels)
    fitting = [
        one
        for one in useful
        if low <= one.frequency_hz <= high
        and _aside(one.bearing_deg, aim.azimuth_deg) >= _ASIDE_DEG
        and all(apart(one.frequency_hz, one.kind, other.frequency_hz, other.kind) for other in channels)
    ]
    return max(fitting, key=lambda one: one.share_of_echoes * _rate(plan, one, aim), default=None)


def _warnings(plan: Plan, channels: list[Proposed], band: Band, center_hz: float, clear: bool) -> tuple[str, ...]:
    parts = {channel.part for channel in channels}
    found = []
    span_hz = plan.site.receiver.sample_rate_hz
    if span_hz < max(WIDTH_HZ[channel.kind] for channel in channels):
        found.append(f"the receiver's span of {span_hz / 1e3:.0f} kHz is narrower than the channel")
    if "guard" not in parts:
        found.append("no empty frequency for a guard within the span")
    if "reference" not in parts:
        found.append("no steady local station for a reference within the span")
    if "control" not in parts:
        found.append("no control on another bearing within the span")
    loudest = band.loudest(center_hz)
    if loudest is not None:
        name, frequency, level = loudest
        found.append(
            f"strong local near by: {name} on {frequency / 1e6:.1f} MHz, {level:.0f} dB over the noise; "
            "less gain or a notch filter keeps it from drowning the rest"
        )
    if not clear:
        found.append("no tuning keeps the centre spike and the images of strong stations off every channel")
    return tuple(found)
