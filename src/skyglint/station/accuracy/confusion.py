"""Which class is taken for which, on simulated events of all classes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.echoes.echo import CLASSES, EchoClass
from skyglint.simulate.frame_night import FrameNight
from skyglint.site import Kind
from skyglint.station.accuracy.draws import plant
from skyglint.station.accuracy.matching import match
from skyglint.station.accuracy.scenes import FM_HZ, carrier_night, fm_night, hear

#: A satellite shows in an FM channel as nothing that could be told without its orbit: there is no line to follow.
FM_CLASSES: tuple[EchoClass, ...] = (
    "underdense",
    "overdense",
    "head",
    "aircraft",
    "sporadic-e",
    "ducting",
    "lightning",
    "interference",
)
CARRIER_CLASSES: tuple[EchoClass, ...] = (*FM_CLASSES[:4], "satellite", *FM_CLASSES[4:])
_MOST_A_NIGHT = 16
_LEAST_STRENGTH = 10.0**0.6  # 6 dB above the threshold

#: An aircraft that both ends can see is near enough for a direct signal (by scatter in the troposphere).
_FM_DIRECT_DB = (-15.0, 0.0)
_CARRIER_DIRECT_DB = (25.0, 40.0)


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
    def events(self) -> int:
        """Events in the matrix."""
        return int(self.counts.sum())

    @property
    def balanced_accuracy(self) -> float:
        """Mean over the classes present of the share that was told right."""
        present = self.counts.sum(axis=1) > 0
        return float((np.diag(self.counts)[present] / self.counts[present].sum(axis=1)).mean())

    @property
    def table(self) -> str:
        """The matrix to read: true classes by row, verdicts by column, then those not found and the share right."""
        width = max(len(name) for name in self.classes)
        heads = [*self.classes, "not found", "right"]
        lines = [" ".join([" " * width, *heads])]
        for number, name in enumerate(self.classes):
            row, missed = self.counts[number], int(self.missed[number])
            if row.sum() + missed == 0:
                continue
            right = f"{row[number] / row.sum():.0%}" if row.sum() else ""
            cells = [*(str(count) if count else "." for count in row), str(missed), right]
            lines.append(" ".join([name.ljust(width), *(c.rjust(len(h)) for c, h in zip(cells, heads, strict=True))]))
        return "\n".join(lines)

    def __add__(self, other: Confusion) -> Confusion:
        return Confusion(self.classes, self.counts + other.counts, self.missed + other.missed)


def fm_confusion(
    count: int, snr_db: tuple[float, float], seed: int, classes: tuple[EchoClass, ...] = FM_CLASSES
) -> Confusion:
    """Plant ``count`` events of every class that FM channels show, with peaks between two levels in 200 kHz."""
    return _sum(classes, count, snr_db, seed, "fm")


def carrier_confusion(
    count: int, snr_db: tuple[float, float], seed: int, classes: tuple[EchoClass, ...] = CARRIER_CLASSES
) -> Confusion:
    """Plant ``count`` events of every class that a carrier shows, with peaks between two levels of C/N0."""
    return _sum(classes, count, snr_db, seed, "carrier")


def nights(name: EchoClass, count: int, snr_db: tuple[float, float], seed: int, kind: Kind) -> Iterator[FrameNight]:
    """Yield nights with ``count`` events of one class in all."""
    for part, first in enumerate(range(0, count, _MOST_A_NIGHT)):
        rng = np.random.default_rng([seed, CLASSES.index(name), part])
        planted = plant(name, min(_MOST_A_NIGHT, count - first), snr_db, kind, rng)
        night_seed = int(rng.integers(2**31))
        aircraft = name == "aircraft"
        if kind == "fm":
            direct_db = rng.uniform(*_FM_DIRECT_DB, len(FM_HZ)).tolist() if aircraft else []
            yield fm_night(planted.tables, planted.duration_s, night_seed, direct_db, reference=True)
        else:
            # A direct carrier is a steady line, near which an aircraft's is taken for its drift: in every other night.
            direct = {"direct_snr_db": float(rng.uniform(*_CARRIER_DIRECT_DB))}
            station = direct if aircraft and part % 2 else {}
            yield carrier_night(planted.tables, planted.duration_s, night_seed, **station)


def _sum(classes: tuple[EchoClass, ...], count: int, snr_db: tuple[float, float], seed: int, kind: Kind) -> Confusion:
    n = len(CLASSES)
    total = Confusion(CLASSES, np.zeros((n, n), dtype=np.int64), np.zeros(n, dtype=np.int64))
    for name in classes:
        for night in nights(name, count, snr_db, seed, kind):
            total = total + _one(night, name)
    return total


def _one(night: FrameNight, name: EchoClass) -> Confusion:
    counts = np.zeros((len(CLASSES), len(CLASSES)), dtype=np.int64)
    missed = np.zeros(len(CLASSES), dtype=np.int64)
    row = CLASSES.index(name)
    for item in match(night.truth.events, hear(night)):
        if item.main is None:
            missed[row] += 1
        elif item.main.details["strength"] >= _LEAST_STRENGTH:
            counts[row, CLASSES.index(item.main.echo_class)] += 1
    return Confusion(CLASSES, counts, missed)
