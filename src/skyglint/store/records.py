"""What the database holds, as plain records. NaN and empty text mean "not measured"."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from skyglint.echoes.echo import METEORIC, Echo, EchoClass

CoverageState = Literal["watched", "lost"]
COVERAGE_STATES: tuple[CoverageState, ...] = get_args(CoverageState)


@dataclass(frozen=True, slots=True)
class CoverageSpan:
    """A half-open span of time in which one channel was watched, or was lost and why.

    Attributes
    ----------
    channel
        Name of the channel.
    start_unix, end_unix
        POSIX seconds; the start belongs to the span, the end to the next.
    state
        ``watched`` or ``lost``.
    reason
        Why it was lost, in a person's words; empty when watched.
    """

    channel: str
    start_unix: float
    end_unix: float
    state: CoverageState
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Run:
    """One run of a command that wrote results: their provenance.

    Attributes
    ----------
    id
        Number of the run in this database.
    site_name, site_file
        Name of the site, and the whole text of its site file.
    version, command, parameters
        Version of Skyglint, the command as given, and its settings.
    created_unix
        When the run began.
    """

    id: int
    site_name: str
    site_file: str
    version: str
    command: str
    parameters: dict[str, Any]
    created_unix: float


@dataclass(frozen=True, slots=True)
class Recording:
    """One recording, or one stretch of live watching, whose results the database holds.

    Attributes
    ----------
    id, run_id
        Numbers of the recording and of the run that read it.
    name, fingerprint, encoding, sample_rate_hz, center_frequency_hz
        As the source states them (``SourceInfo``).
    start_unix, end_unix
        First sample to the end of the last.
    samples
        Samples really read.
    clipped_share
        Share of them at the converter's rails.
    """

    id: int
    run_id: int
    name: str
    fingerprint: str
    encoding: str
    sample_rate_hz: float
    center_frequency_hz: float
    start_unix: float
    end_unix: float
    samples: int
    clipped_share: float


@dataclass(frozen=True, slots=True)
class Verdict:
    """The operator's own word on an echo; it stands beside the machine's and wins in the rates."""

    echo_class: EchoClass
    author: str
    remark: str
    created_unix: float


@dataclass(frozen=True, slots=True)
class Tag:
    """Something else that is known to belong to an echo.

    Attributes
    ----------
    kind, name
        What it is and which one, such as ``satellite`` and a catalogue number.
    details
        Numbers that belong to it, in the unit that each name states.
    """

    kind: str
    name: str
    details: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class StoredEcho:
    """An echo as the database holds it.

    Attributes
    ----------
    id, recording_id
        Number of the echo, never used again for another, and of the recording that it was found in.
    echo
        The machine's findings. Its picture is read separately (``Store.snippet``).
    verdict
        The operator's own, if there is one.
    tags
        What else is known to belong to it.
    """

    id: int
    recording_id: int
    echo: Echo
    verdict: Verdict | None = None
    tags: tuple[Tag, ...] = ()

    @property
    def echo_class(self) -> EchoClass:
        """The class that counts: the operator's where there is one, the machine's otherwise."""
        return self.verdict.echo_class if self.verdict else self.echo.echo_class

    @property
    def meteoric(self) -> bool:
        """Whether the class that counts is one of a meteor."""
        return self.echo_class in METEORIC


@dataclass(frozen=True, slots=True)
class Strip:
    """A channel's power over its floor on an even grid of times.

    Attributes
    ----------
    channel
        Name of the channel.
    start_unix, step_s
        Start of the first reading and the time between readings.
    power_db
        Power over the floor, shape (n,), dB; NaN where nothing was measured. Each is the largest of the stored
        readings within its step.
    """

    channel: str
    start_unix: float
    step_s: float
    power_db: NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class FloorHistory:
    """A channel's floor through time.

    Attributes
    ----------
    channel
        Name of the channel.
    time_unix
        Start of each reading, shape (n,), rising.
    floor_db
        Floor in the analysis bandwidth relative to full scale, shape (n,), dB; NaN where nothing was measured.
    """

    channel: str
    time_unix: NDArray[np.float64]
    floor_db: NDArray[np.float32]
