"""From what the chain heard to the rows of the database: echoes, coverage, strips and floor history."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from skyglint.decibels import power_to_db
from skyglint.echoes.echo import Findings
from skyglint.station.chain import Heard
from skyglint.store.writer import RecordingWriter, TagsOf, no_tags

#: Frames a reading of the strip (about 10 readings a second) and of the floor history (one every 10 s).
STRIP_FRAMES = 10
FLOOR_FRAMES = 1_000


class Keeper:
    """Hands everything heard to a recording's writer, with strips and floors thinned on the way."""

    def __init__(self, writer: RecordingWriter, tags_of: TagsOf = no_tags) -> None:
        self._writer, self._tags_of = writer, tags_of
        self._strip = _Thinner(STRIP_FRAMES, lambda part: part.max(axis=2))
        self._floor = _Thinner(FLOOR_FRAMES, lambda part: part.mean(axis=2))

    def keep(self, heard: Heard) -> None:
        """Store what one step of the chain yielded."""
        self._writer.add_coverage(heard.coverage)
        for findings in heard.findings:
            self._writer.add_echoes(findings.echoes, self._tags_of)
            self._series(heard.channels, findings)

    def finish(self) -> None:
        """Store the readings that are still incomplete."""
        for start, step, names, values in self._strip.flush():
            self._store_strip(start, step, names, values)
        for start, step, names, values in self._floor.flush():
            self._store_floor(start, step, names, values)

    def _series(self, names: tuple[str, ...], findings: Findings) -> None:
        if not findings.excess.shape[1]:
            return
        for reading in self._strip.process(names, findings.start_unix, findings.frame_s, findings.excess):
            self._store_strip(*reading)
        for reading in self._floor.process(names, findings.start_unix, findings.frame_s, findings.floor):
            self._store_floor(*reading)

    def _store_strip(self, start: float, step: float, names: tuple[str, ...], values: NDArray[np.float32]) -> None:
        levels = power_to_db(1.0 + values, floor_db=-20.0)
        for name, row in zip(names, levels, strict=True):
            self._writer.add_strip(name, start, step, row)

    def _store_floor(self, start: float, step: float, names: tuple[str, ...], values: NDArray[np.float32]) -> None:
        levels = power_to_db(values)
        for name, row in zip(names, levels, strict=True):
            self._writer.add_floor(name, start, step, row)


Reading = tuple[float, float, tuple[str, ...], NDArray[np.float32]]


class _Thinner:
    """Gathers frames into longer readings, through any cutting; a break in time or layout closes a reading early."""

    def __init__(self, frames: int, reduce: Callable[[NDArray[np.float32]], Any]) -> None:
        self._frames = frames
        self._reduce = reduce
        self._names: tuple[str, ...] = ()
        self._start = self._frame_s = float("nan")
        self._waiting: NDArray[np.float32] | None = None

    def process(
        self, names: tuple[str, ...], start_unix: float, frame_s: float, values: NDArray[np.float32]
    ) -> list[Reading]:
        """Take in frames, shape (n_channels, n_frames); return whole readings as start, step, names, values."""
        readings = []
        if self._waiting is not None:
            end = self._start + self._waiting.shape[1] * self._frame_s
            if names != self._names or abs(end - start_unix) > 0.5 * frame_s:
                readings = self.flush()
        if self._waiting is None:
            self._names, self._start, self._frame_s, self._waiting = names, start_unix, frame_s, values
        else:
            self._waiting = np.concatenate([self._waiting, values], axis=1)
        whole = self._waiting.shape[1] // self._frames
        if whole:
            part = self._waiting[:, : whole * self._frames].reshape(len(names), whole, self._frames)
            step = self._frames * frame_s
            readings.append((self._start, step, names, self._reduce(part)))
            self._start += whole * step
            self._waiting = self._waiting[:, whole * self._frames :]
        return readings

    def flush(self) -> list[Reading]:
        """Return the incomplete reading, if there is one."""
        waiting, self._waiting = self._waiting, None
        if waiting is None or not waiting.shape[1]:
            return []
        step = self._frames * self._frame_s
        return [(self._start, step, self._names, self._reduce(waiting[:, None, :]))]
