"""An echo: one burst found in one channel, with its measurements, its class and its pictures."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

EchoClass = Literal[
    "underdense",
    "overdense",
    "head",
    "aircraft",
    "satellite",
    "sporadic-e",
    "ducting",
    "lightning",
    "interference",
    "unknown",
]
CLASSES: tuple[EchoClass, ...] = get_args(EchoClass)

#: Classes that count as meteors in the rates. An unknown burst in a target channel counts, because most short weak
#: bursts are meteors that are too faint to be told apart.
METEORIC: frozenset[EchoClass] = frozenset({"underdense", "overdense", "head", "unknown"})

NAN = float("nan")


@dataclass(frozen=True, slots=True)
class Snippet:
    """The picture of an echo: power trace and spectrogram from a little before to a little after.

    Attributes
    ----------
    start_unix, step_s
        Start of the first reading and the time between readings.
    power_db
        Power over the floor, shape (n,), dB; NaN where nothing was measured.
    offsets_hz
        Centre of each spectrogram row relative to the channel, shape (m,).
    spectrogram_db
        Bin power over the bin's own floor, shape (n, m), dB.
    """

    start_unix: float
    step_s: float
    power_db: NDArray[np.float32]
    offsets_hz: NDArray[np.float64]
    spectrogram_db: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Echo:
    """One burst in one channel. NaN and empty text mean "not measured".

    Attributes
    ----------
    channel
        Name of the channel.
    start_unix, duration_s
        First frame above the detection threshold, and the time from there to the end of the last one.
    peak_unix, peak_snr_db
        Time of the strongest frame, and 10 log10 of (its power minus the floor) over the floor in the analysis
        bandwidth; for a carrier referred to 1 Hz (C/N0, dB-Hz).
    energy_snr_s
        Sum over the burst of (power - floor) / floor times the frame length.
    echo_class, class_probability, reason
        The class, how probable it is, and why, in one sentence with the numbers.
    decay_time_s, decay_time_sd_s
        The amplitude's 1/e time of an underdense echo, and its standard error.
    doppler_hz, doppler_sd_hz, doppler_rate_hz_s
        Shift relative to the transmitter's own offset, its standard error, and its rate.
    height_km, height_sd_km
        Height from the decay time.
    rds_pi
        Programme identification decoded within the burst, four hex digits.
    flags
        What to distrust, sorted: ``clipped``, ``gap``, ``merged``, ``guard``, ``edge``, ...
    snippet
        The picture, where one was kept.
    details
        Further measurements by name (values are numbers in the unit that the name states), kept as JSON beside the
        table.
    """

    channel: str
    start_unix: float
    duration_s: float
    peak_unix: float
    peak_snr_db: float
    energy_snr_s: float
    echo_class: EchoClass = "unknown"
    class_probability: float = NAN
    reason: str = ""
    decay_time_s: float = NAN
    decay_time_sd_s: float = NAN
    doppler_hz: float = NAN
    doppler_sd_hz: float = NAN
    doppler_rate_hz_s: float = NAN
    height_km: float = NAN
    height_sd_km: float = NAN
    rds_pi: str = ""
    flags: tuple[str, ...] = ()
    snippet: Snippet | None = None
    details: dict[str, float] = field(default_factory=dict)

    @property
    def end_unix(self) -> float:
        """End of the burst."""
        return self.start_unix + self.duration_s


@dataclass(frozen=True, slots=True)
class Findings:
    """What the detector says of a run of frames; yielded in order of time, each frame exactly once.

    Attributes
    ----------
    start_unix, frame_s
        Start of the first frame and the length of a frame.
    floor
        Running floor of each channel in the analysis bandwidth, relative to full scale, shape (n_channels, n_frames).
    excess
        Power over floor, linear ratio minus 1 in the analysis bandwidth, shape (n_channels, n_frames). For a carrier,
        the strongest bin's.
    echoes
        Bursts that closed within these frames, of all channels, by start time.
    """

    start_unix: float
    frame_s: float
    floor: NDArray[np.float32]
    excess: NDArray[np.float32]
    echoes: tuple[Echo, ...]
