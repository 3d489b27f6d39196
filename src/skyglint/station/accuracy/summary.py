"""All accuracy figures in one go, part by part, for a person to read or a program to keep."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from typing import Any

from skyglint.errors import RequestError
from skyglint.site import Kind
from skyglint.station.accuracy.completeness import carrier_completeness, fm_completeness
from skyglint.station.accuracy.confusion import carrier_confusion, fm_confusion
from skyglint.station.accuracy.false_alarms import (
    carrier_false_alarms,
    line_false_alarms,
    noise_false_alarms,
    nuisance_false_alarms,
)
from skyglint.station.accuracy.fm_doppler import measure_fm_doppler
from skyglint.station.accuracy.measurements import carrier_scatter, overdense_timing, underdense_timing
from skyglint.station.accuracy.months import measure_months
from skyglint.station.accuracy.overlaps import overlap_flags
from skyglint.station.accuracy.rds import measure_errors, measure_success
from skyglint.station.accuracy.reflections import measure_reflections
from skyglint.station.accuracy.spectra import STATIONS, learning
from skyglint.station.accuracy.surveys import measure_surveys
from skyglint.station.accuracy.tracks import measure_chance_share, measure_tracks

BURSTS_S = (0.05, 0.2, 1.0, 5.0)
KINDS: tuple[Kind, ...] = ("fm", "carrier")
WANDERS_S = (10.0, 30.0, 60.0, 120.0, 300.0)
DECAYS_S = (0.02, 0.05, 0.2, 0.8)
#: Decay time and peak C/N0 of a carrier's echoes.
SCATTER = ((0.05, 50.0), (0.1, 45.0), (0.1, 50.0), (0.1, 55.0), (0.2, 50.0), (0.4, 50.0))

#: A figure's name and its dataclass of numbers.
Figures = Iterator[tuple[str, Any]]


def _times(count: int, effort: float) -> int:
    return max(round(count * effort), 4)


def _fm(seed: int, effort: float) -> Figures:
    for burst_s in BURSTS_S:
        yield f"fm bursts of {burst_s:g} s", fm_completeness(burst_s, seed, _times(200, effort))
    yield "fm noise", noise_false_alarms(4.0 * effort, seed)
    for memory_s in WANDERS_S:
        alarms = noise_false_alarms(2.0 * effort, seed, gain_wander_db=0.1, gain_wander_s=memory_s)
        yield f"fm noise, gain wandering by 0.1 dB within {memory_s:g} s", alarms
    for name, (station, level_db) in STATIONS.items():
        yield f"weak bursts of {name}, before and after learning", learning(station, seed, _times(60, effort), level_db)
    yield "an hour of nuisances", nuisance_false_alarms(seed)
    yield "underdense timing", underdense_timing(seed, _times(200, effort))
    yield "overdense timing", overdense_timing(seed, _times(200, effort))


def _carrier(seed: int, effort: float) -> Figures:
    for decay_s in DECAYS_S:
        yield f"carrier decays of {decay_s:g} s", carrier_completeness(decay_s, seed, _times(100, effort))
    for decay_s, level_db_hz in SCATTER:
        scatter = carrier_scatter(decay_s, level_db_hz, seed, _times(100, effort))
        yield f"carrier scatter at {decay_s:g} s, {level_db_hz:g} dB-Hz", scatter
    yield "carrier noise, 10 false alarms accepted an hour", carrier_false_alarms(3.0 * effort, seed, 10.0)
    yield "carrier with lines", line_false_alarms(2.0 * effort, seed)
    yield "carrier noise", carrier_false_alarms(20.0 * effort, seed)


def _classes(seed: int, effort: float) -> Figures:
    yield "fm classes", fm_confusion(_times(110, effort), (-6.0, 14.0), seed)
    yield "carrier classes", carrier_confusion(_times(40, effort), (40.0, 55.0), seed)
    for kind in KINDS:
        yield f"{kind} trails that overlap", overlap_flags(_times(100, effort), seed, kind)


def _rds(seed: int, effort: float) -> Figures:
    for cell in measure_success(_times(60, effort), seed):
        yield f"station named from {cell.duration_s:g} s at {cell.snr_db:g} dB", cell
    for shift in measure_fm_doppler(_times(40, effort), seed):
        yield f"shift of {shift.programme} from {shift.duration_s:g} s at {shift.snr_db:g} dB", shift
    yield "stations named wrongly", measure_errors(_times(1000, effort), seed)


def _satellites(seed: int, effort: float) -> Figures:
    yield "no beacon", measure_chance_share(_times(500, effort), seed)
    for reflection in measure_reflections(_times(40, effort), seed):
        yield f"reflection of {reflection.kind}, {reflection.margin_db:+g} dB of what is needed", reflection
    for cell in measure_tracks(_times(40, effort), seed):
        yield f"beacon at {cell.frequency_hz / 1e6:g} MHz, {cell.c_n0_db_hz:g} dB-Hz", cell


def _surveys(seed: int, effort: float) -> Figures:
    count = _times(200, effort)
    for air, scatter in (("with", True), ("without", False)):
        for limits, floor_dbm, stated_sd_db in (
            ("every level measured", None, 6.0),
            ("faint ones limits", -105.0, 6.0),
            ("2 dB of the 6 dB of error stated", None, 2.0),
        ):
            for factor in (1.0, 1.33, 1.6):
                yield (
                    f"sphere of {factor:g} radii, {air} troposcatter, {limits}",
                    measure_surveys(
                        factor, count, seed, scatter=scatter, floor_dbm=floor_dbm, stated_sd_db=stated_sd_db
                    ),
                )
    for limits, floor_dbm in (("every level measured", None), ("faint ones limits", -105.0)):
        yield f"plane, {limits}", measure_surveys(None, count, seed, floor_dbm=floor_dbm)
    yield "sphere, five near stations", measure_surveys(1.33, count, seed, near=True)
    yield "plane, five near stations", measure_surveys(None, count, seed, near=True)


def _months(seed: int, effort: float) -> Figures:
    yield from measure_months(_times(200, effort), seed)


#: What can be measured, by name. Each takes a seed and an effort: 1 takes minutes to tens of minutes on one core.
PARTS: dict[str, Callable[[int, float], Figures]] = {
    "fm": _fm,
    "carrier": _carrier,
    "classes": _classes,
    "rds": _rds,
    "satellites": _satellites,
    "months": _months,
    "surveys": _surveys,
}


def accuracy_figures(seed: int, effort: float = 1.0, parts: Sequence[str] = ()) -> Figures:
    """Yield every figure of the parts (all where none is named) with its name, as it is measured.

    Raises
    ------
    RequestError
        If there is no part of that name.
    """
    for part in parts:
        if part not in PARTS:
            raise RequestError(f"--part {part}: expected one of {', '.join(PARTS)}")
    for part in parts or PARTS:
        yield from PARTS[part](seed, effort)


def figure_numbers(figure: Any) -> dict[str, Any]:
    """Return all numbers of a figure by name: its fields, and what follows from them."""
    derived = [name for name, value in vars(type(figure)).items() if isinstance(value, property)]
    return {**asdict(figure), **{name: getattr(figure, name) for name in derived}}


def figure_text(name: str, figure: Any) -> str:
    """Return a figure to read: its single numbers in one line, and its table, if it has one, below."""
    numbers = figure_numbers(figure)
    single = [f"{key} {value:.3g}" for key, value in numbers.items() if isinstance(value, int | float)]
    tables = [text for text in numbers.values() if isinstance(text, str) and "\n" in text]
    return "\n".join([f"{name}: {', '.join(single)}", *tables])
