"""Is the station healthy before the night? Plain verdicts from measured numbers, each with what to do.

Pure functions from measurements to checks; ``check_run`` measures.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from skyglint.site import Channel

Verdict = Literal["good", "attend", "bad"]

#: Level (dB relative to full scale) below which an 8-bit converter is starved: noise must fill several of its steps so
#: that it, and not the converter, is the floor. Above the upper one, a passing strong signal clips. (Common practice.)
STARVED_DBFS, LOUD_DBFS = -36.0, -9.0
#: Share of clipped samples that is still harmless, and the one from which echoes are distorted.
CLIPPED_SOME, CLIPPED_MUCH = 1e-6, 1e-4
#: A target this much over the guards' floor is heard directly, or ducted in; a guard this much over the other guards
#: holds a station.
HEARD_DB = 1.5
#: Clock errors: what drifts of trails are read against, and where channels begin to slip out of place.
CLOCK_GOOD_PPM, CLOCK_BAD_PPM = 2.0, 60.0


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that was looked at.

    Attributes
    ----------
    name
        What it is.
    verdict
        ``good``, ``attend`` (the night will work, but not at its best) or ``bad``.
    measured, expected
        In words with numbers and units.
    advice
        What to do; empty when good.
    """

    name: str
    verdict: Verdict
    measured: str
    expected: str
    advice: str = ""


@dataclass(frozen=True, slots=True)
class Listening:
    """What a few seconds of listening showed.

    Attributes
    ----------
    seconds
        How long.
    level_dbfs, clipped_share
        Power of all samples relative to full scale, and the share of them at the rails.
    power_db
        Median power in each channel that lies in the band, dB relative to full scale, by name.
    density_db
        The same per hertz.
    lost_s
        Seconds of samples that did not arrive.
    pilot_hz, pilot_snr_db
        Stereo pilot of the reference channel on the receiver's sampling clock; NaN where there is none.
    carrier_ppm
        Offset of the reference carrier, parts per million; NaN where there is none.
    """

    seconds: float
    level_dbfs: float
    clipped_share: float
    power_db: dict[str, float] = field(default_factory=dict)
    density_db: dict[str, float] = field(default_factory=dict)
    lost_s: float = 0.0
    pilot_hz: float = math.nan
    pilot_snr_db: float = math.nan
    carrier_ppm: float = math.nan


def check_level(level_dbfs: float, clipped_share: float) -> Check:
    """Return whether the converter is filled and not overfilled."""
    measured = f"{level_dbfs:.1f} dB relative to full scale, {100 * clipped_share:.4f} % of samples clipped"
    expected = f"{STARVED_DBFS:.0f} to {LOUD_DBFS:.0f} dB, no sample clipped"
    if clipped_share > CLIPPED_MUCH:
        return Check("level", "bad", measured, expected, "Lower the gain: clipping spreads strong stations everywhere.")
    if clipped_share > CLIPPED_SOME or level_dbfs > LOUD_DBFS:
        return Check("level", "attend", measured, expected, "Lower the gain by 3 to 6 dB.")
    if level_dbfs < STARVED_DBFS:
        return Check("level", "attend", measured, expected, "Raise the gain: the converter's own steps are the floor.")
    return Check("level", "good", measured, expected)


def check_samples(lost_s: float, seconds: float) -> Check:
    """Return whether samples arrive without loss."""
    measured, expected = f"{lost_s:.2f} s lost of {seconds:.0f} s", "none lost"
    if lost_s > 0.02 * seconds:
        return Check("samples", "bad", measured, expected, "Use another port or cable, or a lower sample rate.")
    if lost_s > 0:
        return Check("samples", "attend", measured, expected, "Close what else keeps the computer busy.")
    return Check("samples", "good", measured, expected)


def check_targets(density_db: dict[str, float], targets: Sequence[str], guards: Sequence[str]) -> list[Check]:
    """Return whether the targets are silent: no more power for each hertz than the guards hold."""
    known = [density_db[name] for name in guards if name in density_db]
    checks = []
    for name in targets:
        if name not in density_db:
            checks.append(_outside(name))
            continue
        if not known:
            measured, expected = f"{density_db[name]:.1f} dB per Hz", "a guard channel to compare with"
            checks.append(Check(f"{name} silent", "attend", measured, expected, "Declare a guard channel."))
            continue
        over = density_db[name] - min(known)
        measured, expected = f"{over:+.1f} dB against the quietest guard", f"within {HEARD_DB:g} dB"
        if over > 10.0:
            advice = "The station is heard directly: choose one that the Earth hides better."
            checks.append(Check(f"{name} silent", "bad", measured, expected, advice))
        elif over > HEARD_DB:
            advice = "Something is there: a weak direct signal, a neighbour, or ducting. Look again later."
            checks.append(Check(f"{name} silent", "attend", measured, expected, advice))
        else:
            checks.append(Check(f"{name} silent", "good", measured, expected))
    return checks


def check_guards(density_db: dict[str, float], guards: Sequence[str]) -> list[Check]:
    """Return whether the guards are empty; one alone can only be compared with itself."""
    known = [name for name in guards if name in density_db]
    checks = [_outside(name) for name in guards if name not in density_db]
    quietest = min((density_db[name] for name in known), default=math.nan)
    for name in known:
        over = density_db[name] - quietest
        measured, expected = f"{over:+.1f} dB against the quietest guard", f"within {HEARD_DB:g} dB"
        if over > HEARD_DB:
            checks.append(Check(f"{name} empty", "attend", measured, expected, "A station is there: move this guard."))
        else:
            checks.append(Check(f"{name} empty", "good", measured, expected))
    return checks


def check_bands(crowded: Sequence[tuple[Channel, Channel]]) -> list[Check]:
    """Return one entry for each guard whose band holds part of another channel's; none where all stand apart."""
    return [
        Check(
            f"{guard.name} apart",
            "attend",
            f"{abs(guard.frequency_hz - other.frequency_hz) / 1e3:g} kHz from {other.name}",
            f"{(guard.bandwidth_hz + other.bandwidth_hz) / 2e3:g} kHz or more",
            "Move this guard: what that transmitter sends would be taken for interference.",
        )
        for guard, other in crowded
    ]


def check_clock(listening: Listening, correction_ppm: float) -> Check:
    """Return how far the receiver's clock is off, from the reference's pilot or carrier.

    A pilot is 19 kHz within 2 Hz by rule (47 CFR 73.322), which is 105 parts per million, but broadcasters keep it far
    closer (common practice); the figure trusts the transmitter.
    """
    pilot_ppm = correction_ppm - (listening.pilot_hz / 19_000.0 - 1.0) * 1e6
    error_ppm = pilot_ppm if not math.isnan(listening.pilot_hz) else listening.carrier_ppm
    source = "the reference's pilot" if not math.isnan(listening.pilot_hz) else "the reference's carrier"
    expected = f"within {CLOCK_GOOD_PPM:g} ppm of the site file's correction_ppm"
    if math.isnan(error_ppm):
        advice = "Declare a reference channel: a strong local station."
        return Check("receiver clock", "attend", "no reference heard", expected, advice)
    off = error_ppm - correction_ppm
    measured = f"{error_ppm:+.1f} ppm by {source} (the site file says {correction_ppm:+.1f})"
    if abs(off) <= CLOCK_GOOD_PPM:
        return Check("receiver clock", "good", measured, expected)
    advice = f"Set correction_ppm = {error_ppm:.1f} once the receiver is warm (20 minutes)."
    return Check("receiver clock", "bad" if abs(off) > CLOCK_BAD_PPM else "attend", measured, expected, advice)


def check_computer_clock(synchronized: bool | None) -> Check:
    """Return whether the computer's clock is kept by a time service."""
    expected = "kept by a time service"
    if synchronized is None:
        return Check("computer clock", "attend", "not known", expected, "See that the time service runs.")
    if not synchronized:
        return Check("computer clock", "bad", "not synchronised", expected, "Start the time service (NTP).")
    return Check("computer clock", "good", "synchronised", expected)


def check_disk(free_bytes: float, n_channels: int) -> Check:
    """Return whether the disk takes the tables of a night and some snippets."""
    # 15 MB a day for 12 channels is the bound that the strips keep; pictures of echoes may add as much again.
    night_bytes = 2 * 15e6 * n_channels / 12
    measured, expected = f"{free_bytes / 1e9:.1f} GB free", f"{night_bytes / 1e6:.0f} MB for a night, and snippets"
    if free_bytes < 4 * night_bytes:
        return Check("disk", "bad", measured, expected, "Make room, or put the database on another disk.")
    if free_bytes < 5e9:
        return Check("disk", "attend", measured, expected, "Snippets will soon be given up for room.")
    return Check("disk", "good", measured, expected)


def check_speed(times_real_time: float) -> Check:
    """Return whether the computer keeps up with the receiver."""
    measured, expected = f"{times_real_time:.1f} times as fast as the receiver", "at least 3 times"
    if times_real_time < 1.2:
        return Check("computer speed", "bad", measured, expected, "Lower the sample rate or watch fewer channels.")
    if times_real_time < 3.0:
        return Check("computer speed", "attend", measured, expected, "Keep other work off this computer.")
    return Check("computer speed", "good", measured, expected)


def recommend_gain(trials: Sequence[tuple[float, float, float]]) -> Check:
    """Return the gain to set, from trials of (gain_db, level_dbfs, clipped_share): the highest that leaves headroom."""
    fitting = [gain for gain, level, clipped in trials if clipped <= CLIPPED_SOME and level <= LOUD_DBFS - 3.0]
    tried = ", ".join(f"{gain:g}: {level:.0f} dB" for gain, level, _ in trials)
    expected = f"the highest gain below {LOUD_DBFS - 3.0:.0f} dB without clipping"
    if not fitting:
        advice = "Even the lowest gain overloads: put an attenuator or a filter before the receiver."
        return Check("gain", "bad", tried, expected, advice)
    best = max(fitting)
    level = next(level for gain, level, _ in trials if gain == best)
    if level < STARVED_DBFS:
        advice = f"Set gain_db = {best:g}; even so the converter is starved: check antenna and cable."
        return Check("gain", "attend", tried, expected, advice)
    return Check("gain", "good", tried, expected, f"Set gain_db = {best:g}.")


def _outside(name: str) -> Check:
    advice = "Move center_frequency_hz or raise sample_rate_hz."
    return Check(f"{name} in the band", "bad", "outside the receiver's band", "inside", advice)
