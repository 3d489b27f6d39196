"""Says in one sentence why a burst got its class, with the numbers."""

from __future__ import annotations

from math import isinf, isnan
from typing import TYPE_CHECKING

from skyglint.echoes.echo import EchoClass

if TYPE_CHECKING:
    from skyglint.echoes.classify import Evidence


def explain(evidence: Evidence, echo_class: EchoClass, probability: float) -> str:
    """Return the sentence for the chosen class."""
    own = _spacecraft(evidence) if echo_class == "satellite" else ""
    facts = [fact for fact in (own, _length(evidence), *_facts(evidence, echo_class)) if fact]
    return f"{echo_class} ({probability:.0%}): {', '.join(facts)}."


def _facts(e: Evidence, echo_class: EchoClass) -> tuple[str, ...]:
    if echo_class in ("underdense", "overdense", "head"):
        return (_rise(e), _decay(e), _middle(e), _shift(e), _company(e))
    if echo_class == "unknown":
        return (_strength(e), _decay(e), _company(e))
    if echo_class == "aircraft":
        return (_onset(e), _beat(e), _drift(e), _shift(e), _unrest(e), _swell(e))
    if echo_class == "satellite":
        return (_shift(e),)
    if echo_class in ("sporadic-e", "ducting"):
        return (_onset(e), _fades(e), _beat(e), _drift(e), _unrest(e), _swell(e), _stations(e))
    return (_company(e), _gain(e), _lines_in_channel(e), _standing_line(e))


def _spacecraft(e: Evidence) -> str:
    found = e.spacecraft
    if found is None or found.odds < 1.0:
        return ""
    strength = "" if isnan(found.expected_db) else f" at {found.expected_db:.0f} dB-Hz by the radar equation"
    return (
        f"on the curve of {found.name}: {found.shift_hz:+.0f} Hz and {found.rate_hz_s:+.1f} Hz/s measured, "
        f"{found.predicted_hz:+.0f} ± {found.sd_hz:.0f} Hz and {found.predicted_rate_hz_s:+.1f} ± {found.sd_hz_s:.1f} "
        f"Hz/s predicted{strength}"
    )


def _length(e: Evidence) -> str:
    unit = "dB-Hz" if e.kind == "carrier" else "dB"
    over = "over " if e.overlong else ""
    return f"{over}{e.duration_s:.2f} s long, peak {e.peak_snr_db:.1f} {unit}"


def _decay(e: Evidence) -> str:
    if e.decay is None:
        return "no decay could be fitted"
    shape = "too weak to tell how purely" if isnan(e.decay.scatter) else f"{e.decay.scatter:.0%} off a pure exponential"
    return f"its amplitude falls to 1/e in {e.decay.decay_time_s:.3f} s, {shape}"


def _rise(e: Evidence) -> str:
    return f"at half its strength after {e.envelope.rise_s:.2f} s"


def _onset(e: Evidence) -> str:
    return f"at a fifth of its strength after {e.envelope.onset_s:.1f} s, at half after {e.envelope.rise_s:.1f} s"


def _middle(e: Evidence) -> str:
    return f"half its energy has come after {e.envelope.middle:.0%} of its length"


def _fades(e: Evidence) -> str:
    return f"fades {e.envelope.fades_hz:.2f} times a second" if e.envelope.fades_hz else "does not fade"


def _beat(e: Evidence) -> str:
    if e.beat is None or not e.beat.share:
        return ""
    sweep = f" that sweeps by {e.beat.sweep_hz_s:.2f} Hz/s" if e.beat.sweep_hz_s else ""
    return f"one even beat{sweep}, up to {e.beat.fastest_hz:.1f} times a second, is {e.beat.share:.0%} of its fading"


def _unrest(e: Evidence) -> str:
    if e.unrest < 0.01:
        return ""
    return f"before it the power wandered by {e.unrest:.0%} of its strength"


def _swell(e: Evidence) -> str:
    if e.swell is None or isinf(e.swell.ratio):
        return ""
    return f"the floor under it is up by {e.swell.raised:.0%}, for {e.swell.raised_s:.0f} s so far"


def _shift(e: Evidence) -> str:
    if e.kind != "carrier":
        return ""
    if not e.doppler_rate_hz_s:
        return f"shifted by {e.doppler_hz:+.1f} Hz"
    rate = f"{e.doppler_rate_hz_s:+.0f} Hz/s over {e.doppler_span_hz:.0f} Hz"
    return f"shifted by {e.doppler_hz:+.1f} Hz, which changes by {rate}"


def _drift(e: Evidence) -> str:
    if e.drift is None:
        return ""
    return f"its line drifts by {e.drift.drift_hz:.1f} Hz, {e.drift.straightness:.1f} times its scatter about that"


def _strength(e: Evidence) -> str:
    return f"only {e.strength:.1f} times the threshold"


def _company(e: Evidence) -> str:
    if e.guard:
        return "in a guard channel, where no transmitter is"
    company = e.company
    told = []
    if company.others:
        guards = f" ({company.guards_up} of {company.guards} guards)" if company.guards else ""
        told.append(f"{company.others_up} of {company.others} other channels rose with it{guards}")
    if e.kind == "carrier":
        told.append(f"it fills {company.breadth:.0%} of its channel's bands")
    return ", ".join(told)


def _stations(e: Evidence) -> str:
    targets = e.company.others - e.company.guards
    return f"{e.company.targets_up} of {targets} other stations rose with it" if targets else ""


def _gain(e: Evidence) -> str:
    return "the reference rose as much, so the receiver's gain did" if e.company.in_receiver else ""


def _lines_in_channel(e: Evidence) -> str:
    if e.colour is None:
        return ""
    return f"{e.colour.line_share:.0%} of its power in one line at {e.colour.line_offset_hz / 1e3:+.0f} kHz"


def _standing_line(e: Evidence) -> str:
    if e.kind != "carrier" or e.company.everywhere:
        return ""
    return f"a line {abs(e.doppler_hz):.0f} Hz from the carrier that changes by {e.doppler_rate_hz_s:+.0f} Hz/s"
