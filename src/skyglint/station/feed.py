"""From frames and findings to the live messages: the lanes ten times a second, and the state in a sentence."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from skyglint.decibels import power_to_db
from skyglint.dsp.frames import FrameBlock
from skyglint.echoes.echo import METEORIC
from skyglint.station.chain import Heard
from skyglint.station.live import LiveEcho, LiveMessage, State
from skyglint.utc import format_utc

#: The floor's steadiness is told over this time, sampled every few seconds.
STEADY_S = 3600.0
SAMPLE_S = 10.0
#: What is added to the sentence while there is no time for spectra, and while the database cannot be written.
SHED = " Live spectrograms are left out until the computer catches up."
UNWRITTEN = " The database cannot be written at the moment: what is found is held in memory."


class Feed:
    """Keeps what the next message needs.

    Parameters
    ----------
    started_unix
        When listening began.
    targets
        Names of the target channels, whose echoes are counted.
    """

    def __init__(self, started_unix: float, targets: Sequence[str]) -> None:
        self._started_unix = started_unix
        self._targets = set(targets)
        self._floor: dict[str, float] = {}
        self._bin_floor: dict[str, NDArray[np.float32]] = {}
        self._history: deque[tuple[float, dict[str, float]]] = deque()
        self._echoes: list[LiveEcho] = []
        self._watched_s = 0.0
        self._n_echoes = 0
        self._latest: LiveMessage | None = None

    def hear(self, heard: Heard) -> None:
        """Take in what the chain yielded: floors, echoes, coverage."""
        for findings in heard.findings:
            if findings.floor.shape[1]:
                self._take_floor(heard.channels, findings.floor[:, -1], findings.start_unix)
            for echo in findings.echoes:
                self._echoes.append(
                    LiveEcho(echo.channel, echo.start_unix, echo.duration_s, echo.peak_snr_db, echo.echo_class)
                )
                self._n_echoes += echo.channel in self._targets and echo.echo_class in METEORIC
        watched = [span.end_unix - span.start_unix for span in heard.coverage if span.state == "watched"]
        self._watched_s += max(watched, default=0.0)

    @property
    def has_echoes(self) -> bool:
        """Whether echoes wait for the next message."""
        return bool(self._echoes)

    def message(
        self, names: Sequence[str], frames: FrameBlock, health: dict[str, float], with_spectra: bool, writable: bool
    ) -> LiveMessage:
        """Return the message of a block of frames; spectra are left out where the computer has no time for them."""
        power, floor, spectra = {}, {}, {}
        for name, bins in zip(names, frames.spectra, strict=True):
            strongest = float(bins.sum(axis=1).max())
            reference = self._floor.setdefault(name, float(np.median(bins.sum(axis=1))))
            power[name] = float(power_to_db(strongest / reference)) if reference > 0 else float("nan")
            floor[name] = float(power_to_db(reference))
            if with_spectra:
                spectra[name] = self._spectrum(name, bins)
        echoes, self._echoes = tuple(self._echoes), []
        return LiveMessage(
            end_unix=frames.end_unix,
            step_s=frames.n_frames * frames.frame_s,
            state="watching",
            sentence=self.sentence(frames.end_unix) + ("" if with_spectra else SHED) + ("" if writable else UNWRITTEN),
            power_db=power,
            floor_db=floor,
            spectra_db=spectra,
            echoes=echoes,
            health=health,
        )

    def idle(self, unix: float, state: State, sentence: str, health: dict[str, float]) -> LiveMessage:
        """Return the message of a time without samples."""
        echoes, self._echoes = tuple(self._echoes), []
        return LiveMessage(unix, 0.1, state, sentence, echoes=echoes, health=health)

    def sentence(self, unix: float) -> str:
        """Return the state of the station in words."""
        since = format_utc(self._started_unix)[11:16]
        watched, of = _span(self._watched_s), _span(max(unix - self._started_unix, self._watched_s))
        counted = f"{self._n_echoes} {'echo' if self._n_echoes == 1 else 'echoes'}"
        return f"Listening since {since} UTC, {watched} watched of {of}. {self._steadiness()} {counted}."

    def _steadiness(self) -> str:
        if len(self._history) < 2:
            return "Floor not known yet."
        names = self._history[-1][1]
        ranges = {name: np.ptp([levels[name] for _, levels in self._history if name in levels]) for name in names}
        worst = max(ranges, key=lambda name: ranges[name])
        if ranges[worst] < 1.0:
            return "Floor steady."
        return f"Floor of {worst} moved by {ranges[worst]:.1f} dB."

    def _take_floor(self, names: Sequence[str], floor: NDArray[np.float32], unix: float) -> None:
        levels = power_to_db(floor)
        self._floor.update(zip(names, (float(value) for value in floor), strict=True))
        if not self._history or unix - self._history[-1][0] >= SAMPLE_S:
            targets = {name: float(level) for name, level in zip(names, levels, strict=True) if name in self._targets}
            self._history.append((unix, targets))
            while unix - self._history[0][0] > STEADY_S:
                self._history.popleft()

    def _spectrum(self, name: str, bins: NDArray[np.float32]) -> NDArray[np.float32]:
        strongest = bins.max(axis=0)
        mean = bins.mean(axis=0)
        floor = self._bin_floor.get(name)
        # A slow average is enough for a picture; what stands well above it is a burst and does not enter.
        if floor is None or floor.shape != mean.shape:
            floor = mean
        else:
            floor = floor + np.float32(0.01) * (np.minimum(mean, np.float32(1.5) * floor) - floor)
        self._bin_floor[name] = floor
        ratio = strongest / np.maximum(floor, np.float32(1e-20))
        return power_to_db(ratio, floor_db=-10.0).astype(np.float32)


def _span(seconds: float) -> str:
    minutes = int(seconds // 60)
    if minutes < 1:
        return f"{seconds:.0f} s"
    return f"{minutes // 60} h {minutes % 60:02d} min" if minutes >= 60 else f"{minutes} min"
