"""What a proposed set is made of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from skyglint.plan.aiming import Aim
from skyglint.site import Kind
from skyglint.transmitters.transmitter import Transmitter

Part = Literal["target", "control", "guard", "reference"]

#: Room that a channel takes in a receiver's span: an FM channel is 200 kHz wide (47 CFR 73.201); a carrier's, with its
#: Doppler shifts, 6 kHz and a margin.
WIDTH_HZ: Final[dict[Kind, float]] = {"fm": 200e3, "carrier": 10e3}


@dataclass(frozen=True, slots=True)
class Proposed:
    """One channel of a proposed set: its part in the set, its frequency, whose it is, and why."""

    part: Part
    kind: Kind
    frequency_hz: float
    transmitter: Transmitter | None
    height_m: float | None
    reason: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """A set that one antenna direction and one receiver span serve.

    Attributes
    ----------
    aim
        The best compromise for the targets.
    center_frequency_hz
        Where to tune: clear of every channel and of the images of strong stations.
    channels
        Targets, then control, reference and guard where there are any.
    echoes_per_h
        Expected of all targets together, the mean of day and year, with this aim.
    warnings
        What the set lacks or what stands in its way.
    """

    aim: Aim
    center_frequency_hz: float
    channels: tuple[Proposed, ...]
    echoes_per_h: float
    warnings: tuple[str, ...]


def apart(one_hz: float, one: Kind, other_hz: float, other: Kind) -> bool:
    """Tell whether two channels leave each other their room, to a hertz."""
    return abs(one_hz - other_hz) >= (WIDTH_HZ[one] + WIDTH_HZ[other]) / 2 - 1.0
