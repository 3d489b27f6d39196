"""All accuracy figures in one go, for a person to read or a program to keep."""

from __future__ import annotations

from collections.abc import Iterator

from skyglint.station.accuracy.completeness import Completeness, carrier_completeness, fm_completeness
from skyglint.station.accuracy.confusion import Confusion, carrier_confusion, fm_confusion
from skyglint.station.accuracy.false_alarms import (
    FalseAlarms,
    carrier_false_alarms,
    noise_false_alarms,
    nuisance_false_alarms,
)
from skyglint.station.accuracy.measurements import (
    Scatter,
    Timing,
    carrier_scatter,
    overdense_timing,
    underdense_timing,
)

Figure = Completeness | Confusion | FalseAlarms | Scatter | Timing

BURSTS_S = (0.05, 0.2, 1.0, 5.0)
DECAYS_S = (0.02, 0.05, 0.2, 0.8)


def accuracy_figures(seed: int, effort: float = 1.0) -> Iterator[tuple[str, Figure]]:
    """Yield every figure with its name, as it is measured.

    ``effort`` scales the number of events and hours: 1 takes tens of minutes on one core, 0.1 gives a rough idea.
    """

    def times(count: int) -> int:
        return max(round(count * effort), 4)

    for burst_s in BURSTS_S:
        yield f"fm bursts of {burst_s:g} s", fm_completeness(burst_s, seed, times(200))
    for decay_s in DECAYS_S:
        yield f"carrier decays of {decay_s:g} s", carrier_completeness(decay_s, seed, times(100))
    yield "fm noise", noise_false_alarms(4.0 * effort, seed)
    yield "fm noise, gain wandering by 0.1 dB", noise_false_alarms(4.0 * effort, seed, gain_wander_db=0.1)
    yield "carrier noise", carrier_false_alarms(10.0 * effort, seed)
    yield "an hour of nuisances", nuisance_false_alarms(seed)
    yield "underdense timing", underdense_timing(seed, times(200))
    yield "overdense timing", overdense_timing(seed, times(200))
    for decay_s in (0.05, 0.1, 0.2, 0.4):
        yield f"carrier scatter at {decay_s:g} s", carrier_scatter(decay_s, 50.0, seed, times(100))
    yield "fm classes", fm_confusion(times(100), (-6.0, 14.0), seed)
    yield "carrier classes", carrier_confusion(times(80), (40.0, 55.0), seed)
