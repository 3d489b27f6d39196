"""The scenario file: what the simulated receiver hears, declared in one TOML file and checked like a site file."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, ValidationError, field_validator, model_validator

from skyglint.errors import ScenarioError
from skyglint.simulate.events import (
    Aircraft,
    Burst,
    ChannelEvent,
    Comb,
    Decibels,
    Ducting,
    GainStep,
    Head,
    Hertz,
    Impulses,
    Lightning,
    Loss,
    Overdense,
    Population,
    Satellite,
    SporadicE,
    Table,
    Underdense,
)
from skyglint.simulate.faults import explain
from skyglint.utc import parse_utc

Format = Literal["cu8", "ci8", "ci16_le", "cf32_le"]
Frequency = Annotated[float, Field(gt=0, le=300e9, description="a frequency in hertz above 0")]
Name = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=80),
    Field(description="a name of 1 to 80 characters"),
]

#: The FM multiplex needs Carson's 2 (75 + 53) kHz; just below, only the outermost sidebands fold.
_LEAST_FM_HZ = 250_000.0


class Recording(Table):
    """How long, how fast, in what format; ``noise_dbfs`` is the receiver's noise in the whole span over full scale."""

    start_utc: Annotated[str, Field(description="a UTC time like 2026-08-13T03:40:00Z")]
    duration_s: Annotated[float, Field(ge=0.01, le=100_000, description="0.01 to 100,000 seconds")]
    sample_rate_hz: Annotated[float, Field(ge=8_000, le=20e6, description="8,000 to 20,000,000 samples per second")]
    center_frequency_hz: Frequency
    format: Annotated[Format, Field(description='"cu8", "ci8", "ci16_le" or "cf32_le"')] = "cu8"
    noise_dbfs: Annotated[float, Field(ge=-120, le=0, description="-120 to 0 dB over full scale")] = -30.0
    seed: Annotated[int, Field(ge=0, description="a whole number of 0 or more")] = 0

    @field_validator("start_utc")
    @classmethod
    def _is_time(cls, value: str) -> str:
        parse_utc(value)
        return value

    @property
    def start_unix(self) -> float:
        """POSIX seconds of the first sample."""
        return parse_utc(self.start_utc)


class Receiver(Table):
    """What the receiver spoils, nothing by default; with a positive ``clock_error_ppm`` its clock runs fast."""

    clock_error_ppm: Annotated[float, Field(ge=-200, le=200, description="-200 to 200 parts per million")] = 0.0
    gain_wander_db: Annotated[float, Field(ge=0, le=10, description="0 to 10 dB, one standard deviation")] = 0.0
    gain_wander_s: Annotated[float, Field(gt=0, le=1e5, description="correlation time in seconds above 0")] = 60.0
    iq_gain_db: Annotated[float, Field(ge=-6, le=6, description="-6 to 6 dB, Q over I")] = 0.0
    iq_phase_deg: Annotated[float, Field(ge=-45, le=45, description="-45 to 45 degrees")] = 0.0
    dc_i: Annotated[float, Field(ge=-0.5, le=0.5, description="-0.5 to 0.5 of full scale")] = 0.0
    dc_q: Annotated[float, Field(ge=-0.5, le=0.5, description="-0.5 to 0.5 of full scale")] = 0.0


class Transmitter(Table):
    """A station. ``channel`` is the site file's name for its frequency; several stations may share one.

    ``distance_km`` is the length of the path along the ground: trails stand above its middle. ``offset_hz`` is how far
    the carrier stands from ``frequency_hz``. ``direct_snr_db`` is the steady signal along the ground, if there is one.
    RDS is sent where there is an ``rds_pi``, stereo where there is a pilot. All signal-to-noise ratios are in
    ``bandwidth_hz`` for ``fm`` and in 1 Hz for ``carrier``.
    """

    name: Name
    channel: Name = Field(default_factory=lambda data: data.get("name", ""))
    kind: Annotated[Literal["fm", "carrier"], Field(description='"fm" or "carrier"')]
    frequency_hz: Frequency
    bandwidth_hz: Annotated[float, Field(gt=0, le=1e6, description="above 0 to 1,000,000 hertz")] = 200_000.0
    offset_hz: Hertz = 0.0
    distance_km: Annotated[float, Field(gt=0, le=2300, description="above 0 to 2,300 kilometres")] = 1000.0
    direct_snr_db: Decibels | None = None
    programme: Annotated[Literal["speech", "music", "silence"], Field(description='"speech", "music" or "silence"')] = (
        "music"
    )
    deviation_hz: Annotated[float, Field(gt=0, le=100_000, description="peak deviation, above 0 to 100,000 hertz")] = (
        75_000.0
    )
    pilot_hz: Annotated[float, Field(ge=0, le=10_000, description="the pilot's deviation, 0 to 10,000 hertz")] = 6_750.0
    preemphasis_us: Annotated[float, Field(ge=0, le=100, description="0 to 100 microseconds")] = 50.0
    rds_hz: Annotated[float, Field(ge=0, le=7_500, description="the RDS deviation, 0 to 7,500 hertz")] = 2_000.0
    rds_pi: (
        Annotated[
            str,
            StringConstraints(pattern=r"^[0-9A-Fa-f]{4}$", to_upper=True),
            Field(description="4 hex digits"),
        ]
        | None
    ) = None
    rds_name: Annotated[str, StringConstraints(max_length=8), Field(description="up to 8 characters")] = ""
    rds_text: Annotated[str, StringConstraints(max_length=64), Field(description="up to 64 characters")] = ""
    linewidth_hz: Annotated[float, Field(ge=0, le=1000, description="the carrier's phase noise, 0 to 1,000 hertz")] = (
        0.0
    )

    @model_validator(mode="after")
    def _fits_its_kind(self) -> Transmitter:
        if self.rds_pi is not None and self.kind != "fm":
            raise ValueError('rds_pi is for transmitters of kind "fm"')
        if self.linewidth_hz and self.kind != "carrier":
            raise ValueError('linewidth_hz is for transmitters of kind "carrier"')
        if self.pilot_hz + self.rds_hz >= self.deviation_hz:
            raise ValueError(
                f"pilot_hz + rds_hz = {self.pilot_hz + self.rds_hz:g}: expected less than deviation_hz = "
                f"{self.deviation_hz:g}, which the programme shares"
            )
        return self


class Scenario(Table):
    """Everything that a scenario file declares."""

    recording: Recording
    receiver: Receiver = Receiver()
    transmitter: tuple[Transmitter, ...] = Field(default=(), strict=False, description="tables [[transmitter]]")
    population: tuple[Population, ...] = Field(default=(), strict=False, description="tables [[population]]")
    burst: tuple[Burst, ...] = Field(default=(), strict=False, description="tables [[burst]]")
    underdense: tuple[Underdense, ...] = Field(default=(), strict=False, description="tables [[underdense]]")
    overdense: tuple[Overdense, ...] = Field(default=(), strict=False, description="tables [[overdense]]")
    head: tuple[Head, ...] = Field(default=(), strict=False, description="tables [[head]]")
    aircraft: tuple[Aircraft, ...] = Field(default=(), strict=False, description="tables [[aircraft]]")
    satellite: tuple[Satellite, ...] = Field(default=(), strict=False, description="tables [[satellite]]")
    sporadic_e: tuple[SporadicE, ...] = Field(default=(), strict=False, description="tables [[sporadic_e]]")
    ducting: tuple[Ducting, ...] = Field(default=(), strict=False, description="tables [[ducting]]")
    lightning: tuple[Lightning, ...] = Field(default=(), strict=False, description="tables [[lightning]]")
    impulses: tuple[Impulses, ...] = Field(default=(), strict=False, description="tables [[impulses]]")
    comb: tuple[Comb, ...] = Field(default=(), strict=False, description="tables [[comb]]")
    gain_step: tuple[GainStep, ...] = Field(default=(), strict=False, description="tables [[gain_step]]")
    loss: tuple[Loss, ...] = Field(default=(), strict=False, description="tables [[loss]]")

    @model_validator(mode="after")
    def _hangs_together(self) -> Scenario:
        problems = [*_name_problems(self), *_band_problems(self)]
        if self.lost_s == ((0.0, self.recording.duration_s),):
            problems.append("[[loss]]: nothing of the recording is left")
        if problems:
            raise ValueError("\n".join(problems))
        return self

    @property
    def lost_s(self) -> tuple[tuple[float, float], ...]:
        """Spans without samples, seconds after the start: in order, joined where they touch, cut to the recording."""
        spans: list[tuple[float, float]] = []
        end_s = self.recording.duration_s
        for loss in sorted(self.loss, key=lambda each: each.start_s):
            begin, stop = min(loss.start_s, end_s), min(loss.start_s + loss.duration_s, end_s)
            if spans and begin <= spans[-1][1]:
                spans[-1] = (spans[-1][0], max(spans[-1][1], stop))
            elif stop > begin:
                spans.append((begin, stop))
        return tuple(spans)

    @property
    def channel_events(self) -> tuple[ChannelEvent, ...]:
        """The events that light one channel's transmitter, in the order of the file."""
        return (
            *self.burst,
            *self.underdense,
            *self.overdense,
            *self.head,
            *self.aircraft,
            *self.satellite,
            *self.sporadic_e,
            *self.ducting,
        )


def _name_problems(scenario: Scenario) -> list[str]:
    names = [station.name for station in scenario.transmitter]
    known = f"expected one of {', '.join(names)}" if names else "no [[transmitter]] is declared"
    problems = [
        f'[[{table}]] {index + 1} transmitter = "{event.transmitter}": {known}'
        for table, field in type(scenario).model_fields.items()
        if field.default == ()
        for index, event in enumerate(getattr(scenario, table))
        if hasattr(event, "transmitter") and event.transmitter not in names
    ]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        problems.append(f"[[transmitter]] names must differ; used more than once: {', '.join(twice)}")
    return problems


def _band_problems(scenario: Scenario) -> list[str]:
    recording = scenario.recording
    problems = []
    if recording.sample_rate_hz < _LEAST_FM_HZ and any(station.kind == "fm" for station in scenario.transmitter):
        problems.append(
            f"[recording] sample_rate_hz = {recording.sample_rate_hz:.0f}: expected at least {_LEAST_FM_HZ:,.0f} "
            f'for a station of kind "fm"'
        )
    for station in scenario.transmitter:
        half_hz = 100_000.0 if station.kind == "fm" else 3_000.0
        outside = abs(station.frequency_hz - recording.center_frequency_hz) + half_hz - recording.sample_rate_hz / 2
        if outside > 0:
            problems.append(
                f'[[transmitter]] "{station.name}" frequency_hz = {station.frequency_hz:.0f}: reaches {outside:.0f} Hz '
                f"outside the {recording.sample_rate_hz:.0f} Hz around {recording.center_frequency_hz:.0f} Hz"
            )
    return problems


def load_scenario(path: Path) -> Scenario:
    """Read and check a scenario file.

    Raises
    ------
    ScenarioError
        If the file cannot be read, is not TOML or has faults; all faults at once, one line each.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError as error:
        raise ScenarioError(f"{path}: no such scenario file") from error
    except UnicodeDecodeError as error:
        raise ScenarioError(f"{path}: not a text file in UTF-8 (byte {error.start}); expected TOML") from error
    except OSError as error:
        raise ScenarioError(f"{path}: cannot be read: {error.strerror}") from error
    return parse_scenario(text, str(path))


def parse_scenario(text: str, name: str = "scenario") -> Scenario:
    """Check the text of a scenario file; ``name`` stands in the messages.

    Raises
    ------
    ScenarioError
        If it is not TOML or has faults; all faults at once, one line each.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(f"{name}: not valid TOML: {error}") from error
    try:
        return Scenario.model_validate(data)
    except ValidationError as error:
        raise ScenarioError("\n".join(explain(name, Scenario, data, error))) from error
