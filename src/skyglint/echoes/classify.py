"""Tells bursts apart by physical features, with probabilities and a sentence that gives the numbers.

Each class has a few memberships between 0 and 1, one for each feature that speaks for or against it; their product,
times a prior, normalised over the classes, is the probability. Nothing is learnt and nothing is hidden: the numbers
below are the classifier.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from skyglint.echoes.beat import Beat
from skyglint.echoes.colour import Colour
from skyglint.echoes.company import Company
from skyglint.echoes.decay import Decay
from skyglint.echoes.drift import Drift
from skyglint.echoes.echo import EchoClass
from skyglint.echoes.envelope import Envelope
from skyglint.echoes.reasons import explain
from skyglint.echoes.spacecraft import Agreement
from skyglint.echoes.swell import Swell
from skyglint.site import Kind

_SMOOTH = 0.135  # relative scatter of a trail's Fresnel ripples, at most; fading and plateaus show more
_TONE_SMOOTH = 0.035  # share of a carrier's energy that an underdense trail's fit leaves, at most: arches leave more
_LEAST = 0.01  # no single feature rules a class out


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that is known of a burst.

    Attributes
    ----------
    kind, guard
        Of its channel.
    duration_s, peak_snr_db, strength, overlong
        Length, peak in the channel's bandwidth (for a carrier over 1 Hz), highest reading over its threshold, and
        whether it was closed for lasting too long.
    envelope, decay, company, colour, swell, beat
        Shape in time, fitted decay, the other channels, shape in frequency, the slow signal under it, its steadiest
        beat (None for what is short, or a carrier).
    unrest
        How far the power wandered just before, over the burst's strong level.
    doppler_hz, doppler_rate_hz_s, doppler_span_hz
        Of a carrier: mean shift, its rate, and how far it moved; NaN for FM.
    drift
        How evenly a carrier's line drifts; None for FM and for what is short.
    spacecraft
        The spacecraft on whose predicted curve a carrier's line lies; None where there is none.
    """

    kind: Kind
    guard: bool
    duration_s: float
    peak_snr_db: float
    strength: float
    overlong: bool
    envelope: Envelope
    decay: Decay | None
    company: Company
    colour: Colour | None
    swell: Swell | None = None
    beat: Beat | None = None
    unrest: float = 0.0
    doppler_hz: float = float("nan")
    doppler_rate_hz_s: float = float("nan")
    doppler_span_hz: float = float("nan")
    drift: Drift | None = None
    spacecraft: Agreement | None = None


@dataclass(frozen=True, slots=True)
class Verdict:
    """The class, its probability, and why."""

    echo_class: EchoClass
    probability: float
    reason: str
    probabilities: dict[EchoClass, float]


def above(value: float, level: float, factor: float = 1.5) -> float:
    """Return how surely a positive value lies above a level: one half at the level, 0.9 at ``factor**2.2`` times it.

    Examples
    --------
    >>> above(1.0, 1.0)
    0.5
    >>> above(10.0, 1.0) > 0.99
    True
    """
    x = np.log(min(max(value, 1e-9), 1e9) / min(max(level, 1e-9), 1e9)) / np.log(factor)
    return float(np.clip(1.0 / (1.0 + np.exp(-x)), _LEAST, 1.0))


def below(value: float, level: float, factor: float = 1.5) -> float:
    """Return how surely a positive value lies below a level."""
    return above(level, value, factor)


def _flicker(e: Evidence) -> float:
    """Return how surely the burst is a beat or fade of a slow signal: of one under it, or of one just before it."""
    restless = above(e.unrest, 0.06)
    if e.swell is None or e.swell.raised <= 0:
        return restless
    return max(above(e.swell.raised, 0.02) * below(e.swell.ratio, 3.0), restless)


def _beating(e: Evidence) -> float:
    """Return how surely one even beat explains the fading.

    Winds make the glints of a trail beat too, up to two or three times a second; what lasts longer than trails do, or
    comes after unrest, is no trail, and may beat slower.
    """
    if e.beat is None:
        return _LEAST
    no_trail = max(above(e.duration_s, 18.0, 1.15), _flicker(e))
    fast = max(above(e.beat.fastest_hz, 3.0, 1.15), no_trail * above(e.beat.fastest_hz, 1.0, 1.2))
    return above(e.beat.share, 0.5, 1.12) * fast


def _several(e: Evidence) -> float:
    """Return how much more an opening than one aircraft the burst looks for what other stations do meanwhile."""
    return 1.0 if e.company.targets_up else 0.5


def _drifting(e: Evidence) -> float:
    """Return how surely a carrier's line drifts evenly (0 for FM, which shows no line)."""
    return above(e.drift.drift_hz, 1.2) * above(e.drift.straightness, 0.8, 1.3) if e.drift else 0.0


def _line_s(e: Evidence) -> float:
    """Return for how long a carrier's line was followed: a bent one stands out for longer than its straight part."""
    return max(e.duration_s, abs(e.doppler_span_hz / e.doppler_rate_hz_s) if e.doppler_rate_hz_s else 0.0)


def _chirping(e: Evidence) -> float:
    """Return how surely a short burst's hits lie on a steep line, though it is best followed at a steady frequency."""
    if e.drift is None:
        return 0.0
    return above(e.drift.drift_hz, 40.0) * above(e.drift.straightness, 0.6, 1.3)


def _raised_s(e: Evidence) -> float:
    return e.swell.raised_s if e.swell else 0.0


def _slow(e: Evidence) -> float:
    """Return how surely a carrier's shift stays within what winds do (1 for FM)."""
    if e.kind != "carrier":
        return 1.0
    return below(abs(e.doppler_rate_hz_s), 150.0) * below(e.doppler_span_hz, 100.0) * (1.0 - _chirping(e))


def _holds(condition: bool, doubt: float = _LEAST) -> float:
    return 1.0 if condition else doubt


def _smooth(e: Evidence) -> float:
    return _TONE_SMOOTH if e.kind == "carrier" else _SMOOTH


def _roughness(evidence: Evidence) -> float:
    """Return how far the burst is from a rise and an exponential decay, beyond noise: a relative scatter.

    Where the burst is too weak for one, the misfit's own significance stands for it, and if that says nothing, the
    value between smooth and rough.
    """
    decay = evidence.decay
    if decay is None:
        return 1.0
    if not np.isnan(decay.scatter):
        return decay.scatter
    sigmas = (decay.misfit - 1.0) * np.sqrt(decay.freedom / 2.0)
    return _smooth(evidence) * float(np.clip(sigmas / 3.0, 0.85, 3.0))


def _underdense(e: Evidence) -> float:
    return (
        0.4
        * below(_roughness(e), _smooth(e), 1.2)
        * below(e.duration_s, 3.0)
        * below(e.decay.decay_time_s if e.decay else 1.0, 1.3, 1.15)
        * below(e.envelope.rise_s, 0.25)
        * below(e.envelope.middle, 0.42, 1.07)
        * (1.0 - _flicker(e))
        * _slow(e)
    )


def _sudden(e: Evidence) -> float:
    """Return how surely the burst came as suddenly as a trail, whose glints may take a moment to come in step."""
    return below(e.envelope.onset_s, 0.4 if e.kind == "carrier" else 0.9, 1.3)


def _overdense(e: Evidence) -> float:
    shape = above(_roughness(e), _smooth(e), 1.2) * above(e.duration_s, 0.5) * _sudden(e)
    return 0.2 * shape * (1.0 - _flicker(e)) * (1.0 - _beating(e)) * _slow(e) * _holds(not e.overlong, 0.2)


def _head(e: Evidence) -> float:
    if e.kind == "carrier":
        moving = above(abs(e.doppler_rate_hz_s), 300.0) * above(e.doppler_span_hz, 60.0)
        return 0.5 * max(moving, _chirping(e)) * below(_line_s(e), 1.5)
    symmetric = max(float(np.exp(-0.5 * ((e.envelope.middle - 0.5) / 0.06) ** 2)), _LEAST)
    return (
        0.15
        * (1.0 - _flicker(e))
        * above(e.strength, 2.0, 1.3)
        * below(e.duration_s, 0.6)
        * symmetric
        * above(e.envelope.rise_s / e.duration_s, 0.1)
    )


def _aircraft(e: Evidence) -> float:
    swelling = above(e.duration_s, 4.0) * above(e.envelope.onset_s, 0.5) * above(e.envelope.middle, 0.3, 1.2)
    if e.kind == "carrier":
        line = swelling * _drifting(e) * (above(e.envelope.onset_s, 3.5, 1.3) if e.overlong else 1.0)
        slowly = below(e.drift.drift_hz, 180.0, 1.3) if e.drift else 0.0  # 3 Hz/s for a minute, near an end at 143 MHz
        return max(0.1 * line * slowly, _fragment(e))
    swelling *= above(e.envelope.onset_s, 1.5, 1.3) * (0.03 if e.overlong else 0.25)
    beat = max(0.2, _flicker(e)) * above(e.duration_s, 3.0) * _beating(e)
    return max(beat, 0.1 * swelling, _fragment(e))


def _fragment(e: Evidence) -> float:
    """Return how surely the burst is a piece of an aircraft's beat."""
    return _flicker(e) * below(e.duration_s, 1.0) * below(_raised_s(e), 90.0)


def _satellite(e: Evidence) -> float:
    if e.kind != "carrier":
        return 0.0
    even = above(e.drift.straightness, 0.6, 1.3) if e.drift else 1.0
    sweeping = above(abs(e.doppler_rate_hz_s), 8.0) * above(e.doppler_span_hz, 100.0)
    return 0.1 * above(_line_s(e), 4.0) * sweeping * even


def _followed(e: Evidence) -> float:
    """Return how surely the floor itself has followed the signal up: it came slowly."""
    return above(e.swell.raised, 0.12, 1.3) if e.swell else _LEAST


def _sporadic_e(e: Evidence) -> float:
    fading = above(e.envelope.fades_hz, 0.08) * below(e.envelope.fades_hz, 5.0)
    lasting = 1.0
    if not e.overlong:
        # A carrier's line is whitened away before it is overlong; what it has for it is that it does not come at once.
        slow = above(e.envelope.onset_s, 0.6, 1.2) if e.kind == "carrier" else 0.2
        lasting = slow * above(e.duration_s, 12.0)
    opening = lasting * fading * below(e.envelope.onset_s, 3.5, 1.3) * _several(e)
    blip = _flicker(e) * above(e.duration_s, 1.0) * below(_raised_s(e), 90.0)
    return max(0.15 * opening * _slow(e), blip) * (1.0 - _followed(e)) * (1.0 - _drifting(e)) * (1.0 - _beating(e))


def _ducting(e: Evidence) -> float:
    least_s = 4.0 if e.kind == "fm" else 2.5
    slow = above(e.envelope.onset_s, least_s) * (1.0 if e.overlong else 0.5)
    standing = above(e.swell.raised, 0.05) * above(e.swell.raised_s, 80.0) if e.swell else 0.0
    duct = above(e.duration_s, 12.0) * max(slow, standing, _followed(e)) * _several(e)
    fade = _flicker(e) * max(above(e.duration_s, 1.0) * _followed(e), above(_raised_s(e), 90.0))
    return max(0.15 * duct, fade) * (1.0 - _drifting(e)) * (1.0 - _beating(e))


def _lightning(e: Evidence) -> float:
    return 0.3 * _holds(e.company.everywhere and not e.company.in_receiver) * below(e.duration_s, 0.6)


def _interference(e: Evidence) -> float:
    company = e.company
    nearby = _holds(e.guard or company.in_guard or company.everywhere or company.in_receiver, 0.02)
    flash = company.everywhere and not company.in_receiver and e.duration_s <= 0.5
    return 0.3 * max(nearby, _foreign_line(e)) * _holds(not flash, 0.3)


def _foreign_line(e: Evidence) -> float:
    """Return how surely the burst is a line of no far transmitter's: away from where its own line would be.

    A pausing programme has its line in the middle of the channel; winds shift a carrier by some tens of hertz, and what
    shifts it by hundreds drifts.
    """
    if e.colour is None:
        uneven = below(e.drift.straightness, 0.6, 1.3) if e.drift else 0.0
        still = max(below(abs(e.doppler_rate_hz_s), 8.0), uneven) * above(_line_s(e), 1.0)
        return above(abs(e.doppler_hz), 200.0) * still if e.kind == "carrier" else 0.0
    plain = above(e.colour.line_share, 0.6, 1.1) * above(e.colour.significance, 3.0)
    return plain * _holds(abs(e.colour.line_offset_hz) > 6000.0, 0.1)


def _unknown(e: Evidence) -> float:
    return 0.1 * below(e.strength, 1.5, 1.3) * (1.0 - _flicker(e))


_SCORES: dict[EchoClass, Callable[[Evidence], float]] = {
    "underdense": _underdense,
    "overdense": _overdense,
    "head": _head,
    "aircraft": _aircraft,
    "satellite": _satellite,
    "sporadic-e": _sporadic_e,
    "ducting": _ducting,
    "lightning": _lightning,
    "interference": _interference,
    "unknown": _unknown,
}


def classify(evidence: Evidence) -> Verdict:
    """Return the most probable class of a burst, and why."""
    scores = {name: score(evidence) for name, score in _SCORES.items()}
    if evidence.spacecraft is not None:
        scores["satellite"] += evidence.spacecraft.odds * sum(scores.values())
    company = evidence.company
    if evidence.guard or company.in_guard or company.everywhere or company.in_receiver:
        # What shows in a guard, or lifts the reference as much, has no far transmitter behind it.
        for name in ("underdense", "overdense", "head", "aircraft", "satellite", "sporadic-e", "ducting", "unknown"):
            scores[name] *= _LEAST
    total = sum(scores.values()) or 1.0
    probabilities = {name: score / total for name, score in scores.items()}
    best = max(probabilities, key=lambda name: probabilities[name])
    return Verdict(best, probabilities[best], explain(evidence, best, probabilities[best]), probabilities)
