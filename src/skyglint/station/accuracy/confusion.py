"""Which class is taken for which, on simulated events of all classes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.echoes.echo import CLASSES, EchoClass
from skyglint.simulate.frame_night import FrameNight
from skyglint.station.accuracy.matching import match
from skyglint.station.accuracy.scenes import FM_HZ, Event, carrier_night, fm_night, hear

#: Scenario tables by class, and the longest that one event takes with the quiet after it.
TABLES: dict[EchoClass, tuple[str, float]] = {
    "underdense": ("underdense", 10.0),
    "overdense": ("overdense", 45.0),
    "head": ("head", 10.0),
    "aircraft": ("aircraft", 150.0),
    "satellite": ("satellite", 150.0),
    "sporadic-e": ("sporadic_e", 260.0),
    "ducting": ("ducting", 500.0),
    "lightning": ("lightning", 15.0),
    "interference": ("comb", 60.0),
}
_EVERYWHERE = ("lightning", "interference")
#: Classes that a carrier shows and FM does not.
CARRIER_CLASSES: tuple[EchoClass, ...] = ("underdense", "overdense", "head", "aircraft", "satellite")
FM_CLASSES: tuple[EchoClass, ...] = (
    "underdense",
    "overdense",
    "aircraft",
    "sporadic-e",
    "ducting",
    "lightning",
    "interference",
)


@dataclass(frozen=True, slots=True)
class Confusion:
    """A confusion matrix.

    Attributes
    ----------
    classes
        Classes in the order of the rows and columns, those of :data:`skyglint.echoes.echo.CLASSES`.
    counts
        True class by row, verdict by column, of the events whose strongest reading stood 6 dB and more above its
        threshold.
    missed
        Events not found, by true class.
    """

    classes: tuple[EchoClass, ...]
    counts: NDArray[np.int64]
    missed: NDArray[np.int64]

    @property
    def balanced_accuracy(self) -> float:
        """Mean over the classes present of the share that was told right."""
        present = self.counts.sum(axis=1) > 0
        return float((np.diag(self.counts)[present] / self.counts[present].sum(axis=1)).mean())

    def __add__(self, other: Confusion) -> Confusion:
        return Confusion(self.classes, self.counts + other.counts, self.missed + other.missed)


def fm_confusion(
    count: int, snr_db: tuple[float, float], seed: int, classes: tuple[EchoClass, ...] = FM_CLASSES
) -> Confusion:
    """Plant ``count`` events of every class that FM channels show, with peaks between two levels in 200 kHz."""
    return _sum(classes, count, snr_db, seed, len(FM_HZ), fm_night)


def carrier_confusion(
    count: int, snr_db: tuple[float, float], seed: int, classes: tuple[EchoClass, ...] = CARRIER_CLASSES
) -> Confusion:
    """Plant ``count`` events of every class that a carrier shows, with peaks between two levels of C/N0."""
    return _sum(classes, count, snr_db, seed, 1, carrier_night)


def _sum(
    classes: tuple[EchoClass, ...],
    count: int,
    snr_db: tuple[float, float],
    seed: int,
    stations: int,
    make: Callable[..., FrameNight],
    least_strength: float = 10.0**0.6,
) -> Confusion:
    empty = np.zeros((len(CLASSES), len(CLASSES)), dtype=np.int64)
    total = Confusion(CLASSES, empty, np.zeros(len(CLASSES), dtype=np.int64))
    for number, name in enumerate(classes):
        rng = np.random.default_rng([seed, number])
        rows, duration_s = _rows(name, count, snr_db, stations, rng)
        total = total + _one(make({TABLES[name][0]: rows}, duration_s, seed + number), name, least_strength)
    return total


def _rows(
    name: EchoClass, count: int, snr_db: tuple[float, float], stations: int, rng: np.random.Generator
) -> tuple[list[Event], float]:
    spacing = TABLES[name][1]
    side = 1 if name in _EVERYWHERE else stations
    rows = []
    for i in range(count):
        row = {
            "start_s": 20.0 + spacing * (i // side) + float(rng.uniform(0, 1)),
            "peak_snr_db": float(rng.uniform(*snr_db)),
        }
        if name not in _EVERYWHERE:
            row["transmitter"] = f"s{i % side}" if side > 1 else "s"  # type: ignore[assignment]
        rows.append({**row, **_shape(name, stations == 1, rng)})
    return rows, 40.0 + spacing * (-(-count // side))


def _shape(name: EchoClass, carrier: bool, rng: np.random.Generator) -> Event:
    draw: dict[str, Callable[[], Event]] = {
        "underdense": lambda: {"height_km": float(rng.normal(95, 4)), "speed_km_s": float(rng.uniform(20, 65))},
        "overdense": lambda: {
            "duration_s": float(np.exp(rng.uniform(0.0, np.log(15.0)))),
            "glints": int(rng.integers(1, 6)),
            "drift_hz": float(rng.uniform(0.3, 1.5)),
            "height_km": float(rng.normal(92, 3)),
        },
        "head": lambda: {
            "duration_s": float(rng.uniform(0.1, 0.5)),
            "doppler_hz": float(rng.uniform(200, 2500)) if carrier else 1000.0,
            "doppler_rate_hz_s": float(-rng.uniform(800, 5000)),
        },
        "aircraft": lambda: {
            "duration_s": float(rng.uniform(15, 90)),
            "doppler_hz": float(rng.uniform(10, 80)),
            "direct_share": float(rng.uniform(0.1, 0.5)),
        },
        "satellite": lambda: {"duration_s": float(rng.uniform(30, 90)), "doppler_hz": float(rng.uniform(1000, 2900))},
        "sporadic-e": lambda: {"duration_s": float(rng.uniform(60, 200)), "fading_hz": float(rng.uniform(0.1, 1.0))},
        "ducting": lambda: {"duration_s": float(rng.uniform(200, 400)), "fading_hz": float(rng.uniform(0.005, 0.03))},
        "lightning": lambda: {"duration_s": float(rng.uniform(0.1, 0.45)), "strokes": int(rng.integers(2, 8))},
        "interference": lambda: {
            "duration_s": float(rng.uniform(1, 25)),
            "spacing_hz": float(rng.uniform(30e3, 120e3)),
        },
    }
    return draw[name]()


def _one(night: FrameNight, name: EchoClass, least_strength: float) -> Confusion:
    counts = np.zeros((len(CLASSES), len(CLASSES)), dtype=np.int64)
    missed = np.zeros(len(CLASSES), dtype=np.int64)
    row = CLASSES.index(name)
    for item in match(night.truth.events, hear(night)):
        if item.main is None:
            missed[row] += 1
        elif item.main.details["strength"] >= least_strength:
            counts[row, CLASSES.index(item.main.echo_class)] += 1
    return Confusion(CLASSES, counts, missed)
