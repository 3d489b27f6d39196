"""Says in one sentence why a burst got its class, with the numbers."""

from __future__ import annotations

from math import isnan
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
    if echo_class in ("underdense", "overdense", "head", "unknown"):
        return (_decay(e), _rise(e), _line(e), _strength(e) if echo_class == "unknown" else "", _company(e))
    if echo_class in ("aircraft", "satellite"):
        return (_rise(e), _fades(e), _swell(e), _line(e))
    if echo_class in ("sporadic-e", "ducting"):
        return (_rise(e), _fades(e), _swell(e))
    return (_company(e), _lines_in_channel(e))


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
        return "too short for a decay to be fitted"
    return f"falls by 1/e in amplitude in {e.decay.decay_time_s:.3f} s, " + (
        "too weak to tell its shape" if isnan(e.decay.scatter) else f"{e.decay.scatter:.0%} off a pure exponential"
    )


def _rise(e: Evidence) -> str:
    return f"half strength after {e.envelope.rise_s:.2f} s, half its energy after {e.envelope.middle:.0%} of its length"


def _fades(e: Evidence) -> str:
    return f"fades {e.envelope.fades_hz:.2f} times a second" if e.envelope.fades_hz else "does not fade"


def _swell(e: Evidence) -> str:
    if e.swell is None or e.swell.ratio > 1e6:
        return ""
    return f"{e.swell.ratio:.1f} times the slow signal under it, which has stood for {e.swell.raised_s:.0f} s"


def _line(e: Evidence) -> str:
    if e.kind != "carrier":
        return ""
    return f"shift {e.doppler_hz:+.1f} Hz changing by {e.doppler_rate_hz_s:+.0f} Hz/s over {e.doppler_span_hz:.0f} Hz"


def _strength(e: Evidence) -> str:
    return f"{e.strength:.1f} times the threshold"


def _company(e: Evidence) -> str:
    if e.guard:
        return "in a guard channel, where no transmitter is"
    company = e.company
    if not company.others:
        return ""
    if e.kind == "carrier":
        return f"{company.evenness:.0%} of the bands of its channel rose together"
    guards = f" ({company.guards_up} of {company.guards} guards)" if company.guards else ""
    return f"{company.others_up} of {company.others} other channels rose with it{guards}"


def _lines_in_channel(e: Evidence) -> str:
    if e.colour is None:
        return ""
    return f"{e.colour.line_share:.0%} of its power in one line at {e.colour.line_offset_hz / 1e3:+.0f} kHz"
