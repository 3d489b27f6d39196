"""A set to listen to: targets for one aim within one receiver's span, a guard, a reference, a control aside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from skyglint.path.constants import FloatArray
from skyglint.plan.aiming import Aim, best_aim, horizon_gain_dbi, layer_gain_dbi
from skyglint.plan.candidate import Candidate
from skyglint.plan.cleanliness import leak_db
from skyglint.plan.planning import Plan
from skyglint.plan.sensitivity import noise_density_w_hz
from skyglint.site import DEFAULT_BANDWIDTH_HZ
from skyglint.transmitters.transmitter import Transmitter

Part = Literal["target", "control", "guard", "reference"]

#: Part of a receiver's span that its filters leave flat (common practice).
USABLE_SPAN: Final = 0.8

#: A station this strong reaches the end of an 8-bit receiver's range (common practice: some 50 dB).
STRONG_SNR_DB: Final = 50.0
_IMAGE_SNR_DB: Final = 35.0

_APART_HZ: Final = 200e3
_CLEAR_HZ: Final = 300e3
_CENTER_CLEAR_HZ: Final = 149e3
_ASIDE_DEG: Final = 75.0
#: Part of the beamwidth to either side of the aim within which targets share an antenna.
_BEAM_SHARE: Final = 0.75
#: What a reference and a control in the span are worth, as parts of the targets' sum (working assumption).
_REFERENCE_BONUS: Final = 0.3
_CONTROL_BONUS: Final = 0.1
_REFERENCE_SNR_DB: Final = (15.0, 55.0)
_ANCHORS: Final = 15


@dataclass(frozen=True, slots=True)
class Proposed:
    """One channel of a proposed set: its part in the set, its frequency, whose it is, and why."""

    part: Part
    frequency_hz: float
    transmitter: Transmitter | None
    height_m: float | None
    reason: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """A set that one antenna direction and one receiver span serve.

    Attributes
    ----------
    aim
        The best compromise for the targets.
    center_frequency_hz
        Where to tune: clear of every channel and of the images of strong stations.
    channels
        Targets, then control, guard and reference where there are any.
    echoes_per_h
        Expected of all targets together, the mean of day and year, with this aim.
    warnings
        What the set lacks or what stands in its way.
    """

    aim: Aim
    center_frequency_hz: float
    channels: tuple[Proposed, ...]
    echoes_per_h: float
    warnings: tuple[str, ...]


def propose(plan: Plan) -> Proposal | None:
    """Return the best set, or None when no candidate has an echo to offer."""
    useful = [one for one in plan.candidates if one.score > 0 and one.path.cell.size]
    # An antenna is built for one band, and the site file names it by where the receiver is tuned.
    useful = [one for one in useful if one.antenna_fits] or useful
    if not useful:
        return None
    targets = _targets(plan, useful)
    bearings = [one.bearing_deg for one in targets]
    middle = float(np.mean([one.frequency_hz for one in targets]))
    aim = best_aim([one.path for one in targets], plan.layer, plan.site.antenna, middle, bearings)
    band = _Band(plan, aim)
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
    center, centered = _center(plan, [c.frequency_hz for c in channels], band)
    rate = sum(_rate(plan, one, aim) for one in targets)
    return Proposal(aim, center, tuple(channels), rate, _warnings(channels, band, center, centered))


def _proposed(part: Part, one: Candidate, reason: str) -> Proposed:
    return Proposed(part, one.frequency_hz, one.transmitter, one.height_m, reason)


def _target_words(plan: Plan, one: Candidate, aim: Aim) -> str:
    where = f"{one.distance_km:.0f} km at {one.bearing_deg:.0f}°"
    return f"{where}, {one.reasons[0]}, about {_rate(plan, one, aim):.0f} echoes an hour with this aim"


def _rate(plan: Plan, one: Candidate, aim: Aim) -> float:
    return float(one.path.total(layer_gain_dbi(plan.layer, plan.site.antenna, one.frequency_hz, aim)))


def _targets(plan: Plan, useful: list[Candidate]) -> list[Candidate]:
    """Return the targets whose scores, with one aim and in one span, add up to most; a reference there counts too."""
    best: tuple[float, list[Candidate]] = (-1.0, [])
    beam = _BEAM_SHARE * plan.site.antenna.beamwidth_deg
    for anchor in useful[:_ANCHORS]:
        worth = {
            k: one.score * _rate(plan, one, anchor.aim) / max(_rate(plan, one, one.aim), 1e-9)
            for k, one in enumerate(useful)
            if _aside(one.bearing_deg, anchor.aim.azimuth_deg) <= beam
        }
        order = sorted(worth, key=lambda k: -worth[k])
        for first in order:
            chosen = _within_span(plan, useful, order, useful[first].frequency_hz)
            targets = [useful[k] for k in chosen]
            value = sum(worth[k] for k in chosen) * _completeness(plan, useful, targets, anchor.aim)
            if value > best[0]:
                best = (value, targets)
    return best[1]


def _within_span(plan: Plan, useful: list[Candidate], order: list[int], lowest_hz: float) -> list[int]:
    """Return the best that fit into one span from a frequency upwards."""
    chosen: list[int] = []
    for k in order:
        fits = 0 <= useful[k].frequency_hz - lowest_hz <= _usable_hz(plan) - _APART_HZ
        apart = all(abs(useful[k].frequency_hz - useful[c].frequency_hz) >= _APART_HZ for c in chosen)
        if fits and apart and len(chosen) < plan.settings.targets:
            chosen.append(k)
    return chosen


def _completeness(plan: Plan, useful: list[Candidate], targets: list[Candidate], aim: Aim) -> float:
    channels = [_proposed("target", one, "") for one in targets]
    reference = _Band(plan, aim).reference(channels)
    control = _control(plan, useful, channels, aim)
    return 1 + _REFERENCE_BONUS * (reference is not None) + _CONTROL_BONUS * (control is not None)


def _aside(bearing1_deg: float, bearing2_deg: float) -> float:
    return abs((bearing1_deg - bearing2_deg + 180) % 360 - 180)


def _usable_hz(plan: Plan) -> float:
    return USABLE_SPAN * plan.site.receiver.sample_rate_hz


def _window(plan: Plan, channels: list[Proposed]) -> tuple[float, float]:
    """Return where further channels may lie so that all still fit into the span."""
    room = _usable_hz(plan) - _APART_HZ
    frequencies = [channel.frequency_hz for channel in channels]
    return max(frequencies) - room, min(frequencies) + room


def _control(plan: Plan, useful: list[Candidate], channels: list[Proposed], aim: Aim) -> Candidate | None:
    low, high = _window(plan, channels)
    fitting = [
        one
        for one in useful
        if low <= one.frequency_hz <= high
        and _aside(one.bearing_deg, aim.azimuth_deg) >= _ASIDE_DEG
        and all(abs(one.frequency_hz - other.frequency_hz) >= _APART_HZ for other in channels)
    ]
    return max(fitting, key=lambda one: one.share_of_echoes * _rate(plan, one, aim), default=None)


class _Band:
    """What the transmitters in reach send directly into the aimed antenna."""

    def __init__(self, plan: Plan, aim: Aim) -> None:
        self._plan = plan
        around, settings = plan.survey, plan.settings
        noise = noise_density_w_hz(around.frequency_hz, settings.environment, settings.noise_figure_db)
        noise_dbm = 10 * np.log10(noise * DEFAULT_BANDWIDTH_HZ["fm"]) + 30
        self._snr_db = around.direct_dbm[0] + horizon_gain_dbi(plan.site.antenna, aim, around.azimuth_deg) - noise_dbm

    def reference(self, channels: list[Proposed]) -> Proposed | None:
        """Return the steadiest local station in the span: strong, but not at the end of the receiver's range."""
        around, (low, high) = self._plan.survey, _window(self._plan, channels)
        fits = (around.frequency_hz >= low) & (around.frequency_hz <= high) & around.is_fm
        fits &= (self._snr_db >= _REFERENCE_SNR_DB[0]) & (self._snr_db <= _REFERENCE_SNR_DB[1])
        fits &= _clear_of(around.frequency_hz, channels, _CLEAR_HZ)
        if not fits.any():
            return None
        k = int(np.argmax(np.where(fits, self._snr_db, -np.inf)))
        one = around.transmitters[k]
        reason = f"always there: {self._snr_db[k]:.0f} dB over the noise, {around.distance_m[k] / 1e3:.0f} km"
        return Proposed("reference", one.frequency_hz, one, float(around.height_m[k]), reason)

    def guard(self, channels: list[Proposed]) -> Proposed | None:
        """Return the emptiest frequency of the raster in the span, as far as the list knows."""
        around, (low, high) = self._plan.survey, _window(self._plan, channels)
        centers = self._plan.raster.centers_hz()
        centers = centers[(centers >= low) & (centers <= high)]
        centers = centers[_clear_of(centers, channels, _APART_HZ - 1e3)]
        if centers.size == 0:
            return None
        leak = leak_db(centers[:, None] - around.frequency_hz) + np.where(around.is_fm, 0.0, -200.0)
        direct = np.sum(10 ** ((self._snr_db + leak) / 10), axis=1)
        # What meteors would bring: power spread over the sky falls as the square of distance, counts nearly as power.
        power = around.erp_horizontal_w + around.erp_vertical_w
        lit = np.sum(power / np.maximum(around.distance_m, 1e5) ** 2 * 10 ** (leak / 10), axis=1)
        k = int(np.argmin(direct + lit / max(float(lit.max()), 1e-30)))
        nearest = around.distance_m[np.abs(around.frequency_hz - centers[k]) < 50e3]
        who = "nobody on it within reach"
        if nearest.size:
            who = f"nearest transmitter on it {nearest.min() / 1e3:.0f} km away"
        return Proposed("guard", float(centers[k]), None, None, who)

    def strong(self, snr_db: float, center_hz: float) -> NDArray[np.intp]:
        """Return the indices of stations this strong within the whole span around a tuning."""
        near = np.abs(self._plan.survey.frequency_hz - center_hz) <= self._plan.site.receiver.sample_rate_hz / 2
        return np.flatnonzero(near & (self._snr_db >= snr_db))

    def loudest(self, center_hz: float) -> tuple[str, float, float] | None:
        """Return name, frequency and level of the strongest station in the span that comes near a receiver's range."""
        strong = self.strong(STRONG_SNR_DB, center_hz)
        if strong.size == 0:
            return None
        k = int(strong[np.argmax(self._snr_db[strong])])
        one = self._plan.survey.transmitters[k]
        return one.name, one.frequency_hz, float(self._snr_db[k])


def _clear_of(frequencies_hz: FloatArray, channels: list[Proposed], spacing_hz: float) -> NDArray[np.bool_]:
    taken = np.array([channel.frequency_hz for channel in channels])
    return np.asarray(np.min(np.abs(frequencies_hz[:, None] - taken), axis=1) >= spacing_hz)


def _center(plan: Plan, channels_hz: list[float], band: _Band) -> tuple[float, bool]:
    """Return the tuning nearest the middle that keeps the centre spike and strong images off every channel."""
    channels = np.array(channels_hz)
    middle = round((channels.min() + channels.max()) / 2 / 50e3) * 50e3
    half = plan.site.receiver.sample_rate_hz / 2 - DEFAULT_BANDWIDTH_HZ["fm"] / 2
    for step in sorted(range(-20, 21), key=abs):
        center = middle + step * 50e3
        spike = np.abs(channels - center).min() >= _CENTER_CLEAR_HZ
        inside = np.abs(channels - center).max() <= half
        images = 2 * center - plan.survey.frequency_hz[band.strong(_IMAGE_SNR_DB, center)]
        imaged = images.size and np.abs(channels[:, None] - images).min() < _CENTER_CLEAR_HZ
        if spike and inside and not imaged:
            return float(center), True
    return float(middle), False


def _warnings(channels: list[Proposed], band: _Band, center_hz: float, centered: bool) -> tuple[str, ...]:
    parts = {channel.part for channel in channels}
    found = []
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
    if not centered:
        found.append("no tuning keeps the centre spike and the images of strong stations off every channel")
    return tuple(found)
