"""From readings above threshold to bursts: shortest window first, edges trimmed, pieces of one burst joined.

A strong short burst lifts every longer window that holds it. So each piece, once found, is taken out of the power
before longer windows look: what they still see is something else.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.echoes.scales import Windows
from skyglint.echoes.settings import DetectionSettings

Floats = NDArray[np.float64]


@dataclass(slots=True)
class Burst:
    """One burst: frames ``start`` to ``stop`` (half open, counted from the start of the stretch).

    Attributes
    ----------
    strength
        Highest reading over its threshold.
    window_frames
        Length of the window in which it stood highest.
    overlong
        It lasted longer than the longest echo and was closed for that.
    """

    start: int
    stop: int
    strength: float
    window_frames: int
    overlong: bool = False

    @property
    def n_frames(self) -> int:
        """Length in frames."""
        return self.stop - self.start


def window_readings(excess: Floats, windows: Windows, ends: NDArray[np.int64]) -> Floats:
    """Return the reading of every window at every end.

    Parameters
    ----------
    excess
        Power over floor minus 1, shape (..., n_frames).
    ends
        Index one past each window's last frame, at least the longest window, shape (n_ends,).

    Returns
    -------
    Shape (..., n_windows, n_ends).
    """
    total = np.zeros((*excess.shape[:-1], excess.shape[-1] + 1))
    np.cumsum(excess, axis=-1, out=total[..., 1:])
    begin = total.take(ends - windows.length[:, None], axis=-1)
    turn = total.take(ends - (windows.length - windows.first)[:, None], axis=-1)
    finish = total.take(ends, axis=-1)[..., None, :]
    readings = windows.high[:, None] * (turn - begin)
    readings += windows.low[:, None] * (finish - turn)
    return np.asarray(readings)


def strongest_interval(excess: Floats, level: float) -> tuple[int, int]:
    """Return the half-open interval whose sum of (excess - level) is largest.

    For power that steps up by 2 * level and down again this is the maximum-likelihood pair of change points (Hinkley,
    Biometrika 57, 1 (1970) [citation from memory]).

    Examples
    --------
    >>> strongest_interval(np.array([0.0, 0.1, 1.0, 0.2, 1.0, 0.1]), 0.5)
    (2, 5)
    """
    total = np.concatenate([[0.0], np.cumsum(excess - level)])
    rise = total - np.minimum.accumulate(total)
    stop = int(np.argmax(rise))
    start = int(np.argmin(total[: stop + 1]))
    return start, stop


class Picker:
    """Bursts of one channel, step by step."""

    def __init__(self, windows: Windows, settings: DetectionSettings, frame_s: float) -> None:
        self._windows = windows
        self._reach = int(windows.length.max())
        self._least = settings.join_least_s / frame_s
        self._most = settings.join_most_s / frame_s
        self._share = settings.join_share
        self._longest = round(settings.longest_echo_s / frame_s)
        self._opening = settings.opening_gap_s / frame_s
        self._open: list[Burst] = []
        self._last: Burst | None = None  # the burst closed last: what clings to it is its own tail

    @property
    def busy(self) -> bool:
        """Whether a burst is open."""
        return bool(self._open)

    def search(self, excess: Floats, end: int, n_frames: int, thresholds: Floats) -> None:
        """Look at the last ``n_frames`` frames for bursts that end there.

        Parameters
        ----------
        excess
            Power over floor minus 1 up to the last frame, shape (longest window + n_frames or more,). Frames that are
            found to belong to a burst are set to zero where positive.
        end
            Number within the stretch of the frame after the last.
        thresholds
            Of every window, shape (n_windows,).
        """
        local = excess[-(self._reach + n_frames) :]
        offset = end - len(local)
        ends = np.arange(self._reach + 1, self._reach + n_frames + 1)
        for _ in range(40):
            over = window_readings(local, self._windows, ends) - thresholds[:, None]
            rows = np.flatnonzero((over > 0).any(axis=1))
            if len(rows) == 0:
                return
            piece = self._piece(local, ends, over[rows[0]], int(rows[0]), thresholds)
            part = local[max(piece.start - 1, 0) : piece.stop + 1]
            np.minimum(part, 0.0, out=part)
            piece.start += offset
            piece.stop += offset
            self._join(piece)

    def close(self, now: int, everything: bool = False) -> list[Burst]:
        """Return the bursts that nothing can join any more at frame ``now``, in order of time."""
        closed = []
        for burst in list(self._open):
            burst.overlong = burst.n_frames >= self._longest
            if everything or burst.overlong or now - burst.stop >= self._reach_of(burst) + self._least:
                self._open.remove(burst)
                closed.append(burst)
        closed.sort(key=lambda burst: burst.start)
        if closed:
            self._last = max(closed, key=lambda burst: burst.stop)
        return closed

    def _piece(self, local: Floats, ends: NDArray[np.int64], over: Floats, row: int, thresholds: Floats) -> Burst:
        length = int(self._windows.length[row])
        hits = np.flatnonzero(over > 0)
        breaks = np.flatnonzero(np.diff(hits) > length)
        run = hits[: breaks[0] + 1] if len(breaks) else hits
        low, high = int(ends[run[0]]) - length, int(ends[run[-1]])
        threshold = float(thresholds[row])
        reading = float(over[run].max()) + threshold
        start, stop = strongest_interval(local[low:high], min(reading / 2.0, threshold))
        return Burst(low + start, low + stop, reading / threshold, length)

    def _reach_of(self, burst: Burst) -> float:
        return min(max(self._share * burst.n_frames, self._least), self._most)

    def _near(self, one: Burst, other: Burst) -> bool:
        gap = max(one.start - other.stop, other.start - one.stop, 0)
        return gap <= max(self._reach_of(one), self._reach_of(other))

    def _clings(self, last: Burst, piece: Burst) -> bool:
        """Tell whether a piece is the rest of the burst closed last: its tail, or an opening that fades on."""
        fading_on = last.overlong and piece.start - last.stop <= self._opening and piece.strength <= last.strength
        return fading_on or self._near(last, piece)

    def _join(self, piece: Burst) -> None:
        if self._last is not None and self._clings(self._last, piece):
            self._last.stop = max(self._last.stop, piece.stop)
            return
        near = [burst for burst in self._open if self._near(burst, piece)]
        for burst in near:
            self._open.remove(burst)
            best = max(burst, piece, key=lambda item: item.strength)
            stop = max(burst.stop, piece.stop)
            start = max(min(burst.start, piece.start), stop - self._longest * 5 // 4)
            piece = Burst(start, stop, best.strength, best.window_frames)
        self._open.append(piece)
