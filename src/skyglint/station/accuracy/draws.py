"""Draws the events of a class for the confusion matrix: what is planted when, on which station, how strong."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from skyglint.echoes.echo import EchoClass
from skyglint.site import Kind
from skyglint.sky.satellites import SPEED_OF_LIGHT_KM_S
from skyglint.station.accuracy.scenes import CARRIER_HZ, FM_HZ, Event

#: Time from one event to the next on a station, by class: the longest event and the quiet after it.
SPACING_S: dict[EchoClass, float] = {
    "underdense": 8.0,
    "overdense": 26.0,
    "head": 8.0,
    "aircraft": 130.0,
    "satellite": 70.0,
    "sporadic-e": 160.0,
    "ducting": 260.0,
    "lightning": 12.0,
    "interference": 24.0,
}
#: Seconds of a carrier cost ten times those of FM channels to simulate and search: what lasts for minutes is shortened.
_PACE: dict[Kind, float] = {"fm": 1.0, "carrier": 0.65}
_FIRST_S, _LAST_S = 20.0, 20.0
_AT_FLASH_DB = (0.0, 20.0)  # what is broad is as strong in every channel, whatever its kind
_LINE_BANDWIDTH_DB = 10 * np.log10(200e3)  # a comb's line is stated in 200 kHz, a carrier in 1 Hz
_CHANNEL_HZ: dict[Kind, float] = {"fm": 98e6, "carrier": CARRIER_HZ}


@dataclass(frozen=True, slots=True)
class Planted:
    """Events of one class in one night.

    Attributes
    ----------
    tables
        Rows by table of the scenario.
    duration_s
        Length of the night.
    """

    tables: dict[str, list[Event]]
    duration_s: float


def plant(name: EchoClass, count: int, snr_db: tuple[float, float], kind: Kind, rng: np.random.Generator) -> Planted:
    """Draw ``count`` events of a class, with peaks between two levels."""
    stations = [f"s{i}" for i in range(len(FM_HZ))] if kind == "fm" else ["s"]
    if name in ("lightning", "interference"):
        return _everywhere(name, count, snr_db, kind, rng)
    if name in ("sporadic-e", "ducting"):
        return _openings(name, count, snr_db, kind, stations, rng)
    spacing = SPACING_S[name] * (_PACE[kind] if name == "aircraft" else 1.0)
    rows: list[Event] = []
    for i in range(count):
        # One station after the other: each event comes alone.
        start_s = _FIRST_S + spacing * (i / len(stations)) + float(rng.uniform(0, 1))
        peak = float(rng.uniform(*snr_db))
        rows.append({"transmitter": stations[i % len(stations)], "start_s": start_s, "peak_snr_db": peak})
        rows[-1] |= _SHAPES[name](kind, rng)
    return Planted({name: rows}, rows[-1]["start_s"] + spacing + _LAST_S)


def _openings(
    name: EchoClass,
    count: int,
    snr_db: tuple[float, float],
    kind: Kind,
    stations: list[str],
    rng: np.random.Generator,
) -> Planted:
    """Draw openings, each of which brings in some of the stations, one a few seconds after the other."""
    rows: list[Event] = []
    begin_s, spacing_s = _FIRST_S, SPACING_S[name] * _PACE[kind]
    while len(rows) < count:
        heard = rng.permutation(stations)[: int(rng.integers(1, len(stations) + 1))]
        for station in heard[: count - len(rows)]:
            later_s = float(rng.exponential(0.03 * spacing_s))
            peak = float(rng.uniform(*snr_db))
            rows.append({"transmitter": str(station), "start_s": begin_s + later_s, "peak_snr_db": peak})
            rows[-1] |= _SHAPES[name](kind, rng)
        begin_s += spacing_s
    return Planted({name.replace("-", "_"): rows}, begin_s + _LAST_S)


def _everywhere(
    name: EchoClass, count: int, snr_db: tuple[float, float], kind: Kind, rng: np.random.Generator
) -> Planted:
    """Draw disturbances, which hit all channels at once."""
    tables: dict[str, list[Event]] = {}
    for i in range(count):
        table, row = ("lightning", _lightning(rng)) if name == "lightning" else _disturbance(kind, snr_db, rng)
        tables.setdefault(table, []).append(
            {"start_s": _FIRST_S + SPACING_S[name] * i + float(rng.uniform(0, 1)), **row}
        )
    return Planted(tables, _FIRST_S + SPACING_S[name] * count + _LAST_S)


def _disturbance(kind: Kind, snr_db: tuple[float, float], rng: np.random.Generator) -> tuple[str, Event]:
    """Draw the lines of a switching supply, a crackle, or (which a carrier does not show) a step of the gain."""
    duration_s = float(np.exp(rng.uniform(np.log(0.7), np.log(15.0))))
    which = rng.uniform()
    if which < 0.5:
        peak = float(rng.uniform(*snr_db)) - (_LINE_BANDWIDTH_DB if kind == "carrier" else 0.0)
        spacing_hz = float(rng.uniform(30e3, 120e3))
        if kind == "carrier":  # one of the lines falls into the channel
            spacing_hz = (CARRIER_HZ + float(rng.uniform(-2500, 2500))) / round(CARRIER_HZ / spacing_hz)
        return "comb", {"duration_s": duration_s, "spacing_hz": spacing_hz, "peak_snr_db": peak}
    if which < 0.75 or kind == "carrier":
        peak = float(rng.uniform(*_AT_FLASH_DB))
        return "impulses", {"duration_s": duration_s, "rate_hz": float(rng.uniform(20, 500)), "peak_snr_db": peak}
    return "gain_step", {"duration_s": duration_s, "step_db": float(rng.choice([0.5, 1.0, 2.0]))}


def _lightning(rng: np.random.Generator) -> Event:
    return {
        "duration_s": float(rng.uniform(0.1, 0.45)),
        "strokes": int(rng.integers(2, 8)),
        "peak_snr_db": float(rng.uniform(*_AT_FLASH_DB)),
    }


def _underdense(kind: Kind, rng: np.random.Generator) -> Event:
    return {"height_km": float(rng.normal(95, 4)), "speed_km_s": float(rng.uniform(20, 65))}


def _overdense(kind: Kind, rng: np.random.Generator) -> Event:
    return {
        "duration_s": float(np.exp(rng.uniform(0.0, np.log(15.0)))),
        "glints": int(rng.integers(1, 6)),
        "drift_hz": float(rng.uniform(0.3, 1.5)),
        "height_km": float(rng.normal(92, 3)),
    }


def _head(kind: Kind, rng: np.random.Generator) -> Event:
    return {
        "duration_s": float(rng.uniform(0.1, 0.5)),
        "doppler_hz": float(rng.uniform(200, 2500)) if kind == "carrier" else 1000.0,
        "doppler_rate_hz_s": float(-rng.uniform(800, 5000)),
    }


@dataclass(frozen=True, slots=True)
class Flight:
    """A flight over the path: how fast its shift falls, what it is when first seen, and for how long it is seen."""

    rate_hz_s: float
    doppler_hz: float
    duration_s: float


def shift_rate_hz_s(distances_m: tuple[float, float], speed_m_s: float, angle_deg: float, frequency_hz: float) -> float:
    """Return how fast the shift falls where a flight crosses the baseline at an angle, so far from either end.

    (v sin a)^2 (1/R1 + 1/R2) / wavelength: the sum of two distances to a straight flight, to second order.
    """
    across = speed_m_s * np.sin(np.radians(angle_deg))
    curvature = 1 / distances_m[0] + 1 / distances_m[1]
    return float(across**2 * curvature * frequency_hz / (SPEED_OF_LIGHT_KM_S * 1e3))


def crossing(across_m_s: float, rate_hz_s: float, length_m: float) -> Flight:
    """Return a flight seen while the receiver stands in the main lobe of its forward scatter.

    The lobe of an aircraft of length L is wavelength / L to either side (diffraction at an aperture), wherever it
    crosses: it beats at most at v sin a / L, 3 to 10 times a second.
    """
    edge_hz = across_m_s / length_m
    return Flight(rate_hz_s, edge_hz, 2 * edge_hz / rate_hz_s)


def _aircraft(kind: Kind, rng: np.random.Generator) -> Event:
    """Draw a flight across the middle of the path, seen by its forward scatter, or one near an end, seen anyhow."""
    speed_m_s, angle_deg = float(rng.uniform(200, 260)), float(rng.uniform(40, 90))
    path_m, near = float(rng.uniform(150e3, 600e3)), bool(rng.uniform() < 0.5)
    from_end_m = float(rng.uniform(12e3, 50e3) if near else rng.uniform(0.15, 0.85) * path_m)
    rate_hz_s = shift_rate_hz_s((from_end_m, path_m - from_end_m), speed_m_s, angle_deg, _CHANNEL_HZ[kind])
    if near:
        duration_s = float(rng.uniform(15, 60))
        flight = Flight(rate_hz_s, rate_hz_s * duration_s * float(rng.uniform(-0.2, 1.2)), duration_s)
    else:
        flight = crossing(speed_m_s * np.sin(np.radians(angle_deg)), rate_hz_s, float(rng.uniform(25, 60)))
        duration_s = min(flight.duration_s, 100.0 * _PACE[kind])
        flight = Flight(rate_hz_s, rate_hz_s * duration_s / 2, duration_s)
    return {
        "duration_s": flight.duration_s,
        "doppler_hz": float(flight.doppler_hz),
        "doppler_end_hz": float(flight.doppler_hz - flight.rate_hz_s * flight.duration_s),
        "direct_share": 0.0,
    }


def _satellite(kind: Kind, rng: np.random.Generator) -> Event:
    """Draw the middle of a low pass: at 143 MHz the shift falls by v^2 / (distance wavelength), 25 to 130 Hz/s.

    The line bends like an S: six times the mean slope in its middle.
    """
    rate_hz_s, duration_s = float(rng.uniform(25, 130)), float(rng.uniform(25, 60))
    return {"duration_s": duration_s, "doppler_hz": rate_hz_s * duration_s / 6}


def _sporadic_e(kind: Kind, rng: np.random.Generator) -> Event:
    return {
        "duration_s": float(rng.uniform(50, 120)) * _PACE[kind],
        "fading_hz": float(np.exp(rng.uniform(np.log(0.1), np.log(2.0)))),
    }


def _ducting(kind: Kind, rng: np.random.Generator) -> Event:
    return {"duration_s": float(rng.uniform(120, 220)) * _PACE[kind], "fading_hz": float(rng.uniform(0.005, 0.03))}


_SHAPES: dict[EchoClass, Callable[[Kind, np.random.Generator], Event]] = {
    "underdense": _underdense,
    "overdense": _overdense,
    "head": _head,
    "aircraft": _aircraft,
    "satellite": _satellite,
    "sporadic-e": _sporadic_e,
    "ducting": _ducting,
}
