"""From hits in the time-frequency plane to bursts: near in time and frequency, drifting and split ones together."""

from __future__ import annotations

from dataclasses import dataclass, field

from skyglint.echoes.company import CRASH_BREADTH
from skyglint.echoes.settings import DetectionSettings
from skyglint.echoes.tones import Hit

_NEAR_HZ = 150.0
_SIDELOBE = 0.1  # a hit this much below a burst's best at the same time is the burst's own skirt
_TAIL = 0.3  # what clings to a closed burst and is this much weaker is its tail
_FADING_ON = 4.0  # what follows an overlong burst is its continuation unless this much stronger
_PATIENCE_S = 1.7  # the longest window sees a burst so long after its onset


@dataclass(slots=True)
class ToneBurst:
    """A burst of a carrier: samples ``start`` to ``stop`` of the stretch, and the hits that make it up."""

    start: int
    stop: int
    low_hz: float
    high_hz: float
    best: Hit
    hits: list[Hit] = field(default_factory=list)
    overlong: bool = False


class ToneCollector:
    """Bursts of one carrier channel.

    Parameters
    ----------
    settings, rate_hz
        What the operator set, and samples in a second.
    """

    def __init__(self, settings: DetectionSettings, rate_hz: float) -> None:
        self._rate = rate_hz
        self._least = settings.join_least_s * rate_hz
        self._most = settings.join_most_s * rate_hz
        self._share = settings.join_share
        self._longest = settings.longest_echo_s * rate_hz
        self._opening = settings.opening_gap_s * rate_hz
        self._open: list[ToneBurst] = []
        self._closed: list[ToneBurst] = []  # of the last seconds: what clings to them is their own

    def add(self, hits: list[Hit]) -> None:
        """Take in the hits of one step."""
        for hit in sorted(hits, key=lambda item: item.sample):
            stop = hit.sample + round(hit.decay_s * self._rate)
            piece = ToneBurst(hit.sample, stop, hit.frequency_hz, hit.frequency_hz, hit, [hit])
            owner = next((burst for burst in self._closed if self._clings(burst, piece)), None)
            if owner is not None:
                owner.stop = max(owner.stop, piece.stop)
                continue
            self._join(piece)

    def close(self, now: int, everything: bool = False) -> list[ToneBurst]:
        """Return the bursts that nothing can join any more at sample ``now``, in order of time."""
        done = []
        for burst in list(self._open):
            burst.overlong = burst.stop - burst.start >= self._longest
            quiet = now - burst.stop >= self._reach(burst) + _PATIENCE_S * self._rate
            if everything or burst.overlong or quiet:
                self._open.remove(burst)
                done.append(burst)
        self._closed = [burst for burst in self._closed if now - burst.stop < self._opening + self._most] + done
        return sorted(done, key=lambda burst: burst.start)

    def _reach(self, burst: ToneBurst) -> float:
        return min(max(self._share * (burst.stop - burst.start), self._least), self._most)

    def _near(self, one: ToneBurst, other: ToneBurst) -> bool:
        gap = max(one.start - other.stop, other.start - one.stop, 0)
        if gap > max(self._reach(one), self._reach(other)):
            return False
        apart = max(one.low_hz - other.high_hz, other.low_hz - one.high_hz, 0.0)
        weak, strong = sorted([one.best.energy, other.best.energy])
        crash = min(one.best.breadth, other.best.breadth) > CRASH_BREADTH
        return apart <= _NEAR_HZ or weak < _SIDELOBE * strong or crash

    def _clings(self, closed: ToneBurst, piece: ToneBurst) -> bool:
        if closed.overlong and piece.start - closed.stop <= self._opening:
            return piece.best.energy <= _FADING_ON * closed.best.energy
        return piece.best.energy <= _TAIL * closed.best.energy and self._near(closed, piece)

    def _join(self, piece: ToneBurst) -> None:
        for burst in [item for item in self._open if self._near(item, piece)]:
            self._open.remove(burst)
            best = max(burst.best, piece.best, key=lambda hit: hit.energy)
            own = piece.best.energy >= _SIDELOBE * burst.best.energy
            start, stop = min(burst.start, piece.start), max(burst.stop, piece.stop)
            piece = ToneBurst(
                start if own else burst.start,
                stop if own else burst.stop,
                min(burst.low_hz, piece.low_hz) if own else burst.low_hz,
                max(burst.high_hz, piece.high_hz) if own else burst.high_hz,
                best,
                burst.hits + piece.hits if own else burst.hits,
            )
        self._open.append(piece)
