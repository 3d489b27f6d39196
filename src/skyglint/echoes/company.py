"""What the other channels did while a burst lasted: lightning, gain steps and interference hit them all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from skyglint.echoes.history import History
from skyglint.site import Channel

Floats = NDArray[np.float64]

_SIGMAS = 5.0
_LEAST_SHARE = 0.1  # of the burst's own excess; what is weaker may have leaked from it
_REFERENCE_SHARE = 0.5  # a strong local signal rises this nearly alike only where the receiver's gain did
_EVEN = 0.3

#: Share of a carrier channel's bands that stand out together in a crash (lightning, an impulse) and never in a tone.
CRASH_BREADTH = 0.4


@dataclass(frozen=True, slots=True)
class Company:
    """Other channels, of either kind, that rose together with a burst.

    Attributes
    ----------
    others_up, others
        Other targets and guards that rose in the burst's strongest frames, and all others.
    guards_up, guards
        The same for the guards among them.
    evenness
        Median over the others of their excess, over the burst's own: 1 when all rose alike.
    references_up, references
        The same for references: their strong signal rises by as much only where the receiver's gain did.
    breadth
        For a carrier, the share of its own channel's bands that rose together: one for a tone, all for a crash.
    """

    others_up: int
    others: int
    guards_up: int
    guards: int
    evenness: float
    references_up: int = 0
    references: int = 0
    breadth: float = 0.0

    @property
    def everywhere(self) -> bool:
        """Whether the burst hit (nearly) every channel, with a guard or three others to judge by, or every band."""
        if self.breadth > CRASH_BREADTH:
            return True
        # One large trail may light all targets, though not all alike.
        enough = self.guards >= 1 or (self.others >= 3 and self.evenness > _EVEN)
        return enough and self.others_up >= 0.7 * self.others and self.guards_up == self.guards

    @property
    def in_guard(self) -> bool:
        """Whether a guard rose with it."""
        return self.guards_up > 0

    @property
    def in_receiver(self) -> bool:
        """Whether all references rose by as much: a step of the gain."""
        return self.references > 0 and self.references_up == self.references

    @property
    def targets_up(self) -> int:
        """Other targets that rose with it."""
        return self.others_up - self.guards_up


class Surroundings:
    """The last half minute of all channels of both kinds.

    Parameters
    ----------
    channels
        All channels of the site.
    keep
        Frames to keep.
    """

    def __init__(self, channels: Sequence[Channel], keep: int) -> None:
        self._excess = History((len(channels),), keep)
        self._guard = np.array([channel.role == "guard" for channel in channels], dtype=bool)
        self._reference = np.array([channel.role == "reference" for channel in channels], dtype=bool)
        self._samples = np.ones(len(channels))

    def append(self, excess: Floats, samples_per_frame: Floats) -> None:
        """Add frames: power over floor minus 1, shape (n_channels, n_frames), and the independent samples behind."""
        self._excess.append(excess)
        self._samples = samples_per_frame

    def company(self, channel: int, start: int, own: Floats, longest: int, breadth: float = 0.0) -> Company:
        """Return what the others did during a burst.

        Parameters
        ----------
        channel
            Its number among all channels.
        start
            Its first frame.
        own
            Its power over the floor minus 1, shape (n_frames,): where it is strong, the others are looked at.
        longest
            Frames before the burst's end that are looked at, at most.
        breadth
            As in :class:`Company`.
        """
        stop = start + len(own)
        first = min(max(start - len(own) - 15, stop - longest, 0), start)
        return burst_company(
            self._excess.view(first, stop),
            channel,
            start - first,
            own,
            self._samples,
            self._guard,
            self._reference,
            breadth,
        )


def burst_company(
    excess: Floats,
    channel: int,
    start: int,
    own: Floats,
    samples_per_frame: Floats,
    guard: NDArray[np.bool_],
    reference: NDArray[np.bool_],
    breadth: float = 0.0,
) -> Company:
    """Compare all channels in the strongest frames of one channel's burst with the time just before it.

    Parameters
    ----------
    excess
        Power over floor minus 1, shape (n_channels, n_frames), from before the burst to its end.
    start
        The burst's first frame among these.
    own
        The burst's own power over the floor minus 1, shape (n_frames - start,).
    samples_per_frame, guard, reference
        Independent samples behind a frame, and which channels are guards and references, shape (n_channels,).
    """
    core = start + np.flatnonzero(own >= 0.5 * own.max())
    before = excess[:, max(start - max(len(core), 10) - 3, 0) : max(start - 3, 0)]
    known = before.shape[1] >= 5
    base = before.mean(axis=1) if known else np.zeros(len(excess))
    rise = excess[:, core].mean(axis=1) - base
    sigma = np.sqrt((1.0 / len(core) + (1.0 / before.shape[1] if known else 0.0)) / samples_per_frame + 0.003**2)
    up = (rise > _SIGMAS * sigma) & (rise > np.where(reference, _REFERENCE_SHARE, _LEAST_SHARE) * rise[channel])
    other = (np.arange(len(excess)) != channel) & ~reference
    even = other.any() and rise[channel] > _SIGMAS * sigma[channel]
    reference = reference & (np.arange(len(excess)) != channel)
    return Company(
        int((up & other).sum()),
        int(other.sum()),
        int((up & other & guard).sum()),
        int((other & guard).sum()),
        float(np.median(rise[other]) / rise[channel]) if even else 0.0,
        int((up & reference).sum()),
        int(reference.sum()),
        breadth,
    )
