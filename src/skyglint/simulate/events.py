"""The tables of a scenario that say what happens: trails, other reflections, disturbances, random populations."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, model_validator

Seconds = Annotated[float, Field(ge=0, le=1e6, description="seconds after the recording's start, 0 or more")]
Duration = Annotated[float, Field(gt=0, le=1e6, description="a length in seconds above 0")]
Decibels = Annotated[float, Field(ge=-60, le=120, description="-60 to 120 dB")]
Hertz = Annotated[float, Field(ge=-20_000, le=20_000, description="-20,000 to 20,000 hertz")]
Height = Annotated[float, Field(ge=60, le=130, description="60 to 130 kilometres")]
Speed = Annotated[float, Field(ge=11, le=73, description="11 to 73 km/s")]
Tilt = Annotated[float, Field(ge=0, le=90, description="0 to 90 degrees")]
Share = Annotated[float, Field(ge=0, le=1, description="0 to 1")]
StationName = Annotated[str, Field(description="the name of a [[transmitter]]")]


class Table(BaseModel):
    """A table of the scenario: unknown keys and wrong types are faults."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


class ChannelEvent(Table):
    """Something that makes one transmitter heard for a while."""

    transmitter: StationName
    start_s: Seconds
    peak_snr_db: Decibels


class Burst(ChannelEvent):
    """A burst of constant power: for measuring a detector, not a thing of the sky."""

    duration_s: Duration
    doppler_hz: Hertz = 0.0


class Underdense(ChannelEvent):
    """An underdense trail; ``start_s`` is when the meteor passes the point that reflects.

    ``beta_deg`` is the angle of the trail out of the plane through transmitter, trail and site.
    """

    height_km: Height = 95.0
    speed_km_s: Speed = 40.0
    beta_deg: Tilt = 90.0
    doppler_hz: Hertz = 0.0


class Overdense(ChannelEvent):
    """An overdense trail: ``duration_s`` is how long its core stays overdense.

    ``glints`` parts of it reflect; winds shift them by ``drift_hz`` (one standard deviation) against each other.
    """

    duration_s: Annotated[float, Field(gt=0, le=120, description="above 0 to 120 seconds")]
    height_km: Height = 92.0
    glints: Annotated[int, Field(ge=1, le=12, description="1 to 12")] = 3
    drift_hz: Annotated[float, Field(ge=0, le=20, description="0 to 20 hertz")] = 0.7
    doppler_hz: Hertz = 0.0


class Head(ChannelEvent):
    """A head echo: the plasma around the meteoroid itself, with its chirp."""

    duration_s: Annotated[float, Field(gt=0, le=2, description="above 0 to 2 seconds")]
    doppler_hz: Hertz = 1000.0
    doppler_rate_hz_s: Annotated[float, Field(ge=-50_000, le=50_000, description="-50,000 to 50,000 Hz/s")] = -3000.0


class Aircraft(ChannelEvent):
    """An aircraft: a slow Doppler line, beating with the signal that comes directly.

    Its shift runs from ``doppler_hz`` to ``doppler_end_hz``; without one, to the opposite: it crosses the baseline.
    ``direct_share`` is for a station without a ``direct_snr_db``: a direct signal that comes and goes with it.
    """

    duration_s: Duration
    doppler_hz: Hertz = 40.0
    doppler_end_hz: Hertz | None = None
    direct_share: Share = 0.3


class Satellite(ChannelEvent):
    """A satellite: a line that sweeps from plus to minus ``doppler_hz``, as an S."""

    duration_s: Duration
    doppler_hz: Hertz = 3000.0


class SporadicE(ChannelEvent):
    """Reflection by a sporadic-E cloud: minutes, strong, fading within seconds."""

    duration_s: Duration
    fading_hz: Annotated[float, Field(gt=0, le=20, description="above 0 to 20 hertz")] = 0.3


class Ducting(ChannelEvent):
    """A tropospheric duct: minutes to hours, slow fading."""

    duration_s: Duration
    fading_hz: Annotated[float, Field(gt=0, le=20, description="above 0 to 20 hertz")] = 0.03


class Lightning(Table):
    """One flash: broadband strokes on every channel. ``peak_snr_db`` is over the noise, in a frame of 10 ms."""

    start_s: Seconds
    duration_s: Annotated[float, Field(gt=0, le=2, description="above 0 to 2 seconds")] = 0.2
    peak_snr_db: Decibels
    strokes: Annotated[int, Field(ge=1, le=30, description="1 to 30")] = 4


class Impulses(Table):
    """Local broadband crackle, as of a bad switch: ``rate_hz`` impulses a second on every channel."""

    start_s: Seconds
    duration_s: Annotated[float, Field(gt=0, le=600, description="above 0 to 600 seconds")]
    peak_snr_db: Decibels
    rate_hz: Annotated[float, Field(gt=0, le=10_000, description="above 0 to 10,000 a second")] = 100.0


class Comb(Table):
    """The lines of a switching power supply: multiples of ``spacing_hz`` across the span, drifting together.

    ``peak_snr_db`` is that of one line in 200 kHz.
    """

    start_s: Seconds
    duration_s: Duration
    peak_snr_db: Decibels
    spacing_hz: Annotated[float, Field(ge=1000, le=1e6, description="1,000 to 1,000,000 hertz")] = 65_000.0
    drift_hz_s: Annotated[float, Field(ge=-1000, le=1000, description="-1,000 to 1,000 Hz/s, of one line")] = 0.0


class GainStep(Table):
    """The receiver's gain changes by ``step_db`` for a while."""

    start_s: Seconds
    duration_s: Duration
    step_db: Annotated[float, Field(ge=-30, le=30, description="-30 to 30 dB")]


class Loss(Table):
    """Samples that never arrive."""

    start_s: Seconds
    duration_s: Duration


class Population(Table):
    """Random echoes of one transmitter, at ``rate_per_h``, from ``start_s`` for ``duration_s`` (default: to the end).

    ``rate_per_h`` counts echoes whose peak is above ``min_snr_db`` (over 1 Hz for a carrier: 30 and more). Strengths
    follow the mass index, heights are normal about ``height_km``.
    """

    transmitter: StationName
    rate_per_h: Annotated[float, Field(gt=0, le=1e6, description="above 0 echoes an hour")]
    start_s: Seconds = 0.0
    duration_s: Duration | None = None
    mass_index: Annotated[float, Field(gt=1, le=4, description="above 1 to 4")] = 2.1
    min_snr_db: Decibels = 0.0
    max_snr_db: Decibels = 40.0
    height_km: Height = 95.0
    height_sd_km: Annotated[float, Field(ge=0, le=20, description="0 to 20 kilometres")] = 4.0
    speed_km_s: Speed = 40.0
    overdense_share: Share = 0.1
    head_share: Share = 0.0
    doppler_sd_hz: Annotated[float, Field(ge=0, le=100, description="0 to 100 hertz")] = 4.0

    @model_validator(mode="after")
    def _rising(self) -> Population:
        if self.max_snr_db <= self.min_snr_db:
            raise ValueError(f"max_snr_db = {self.max_snr_db}: expected more than min_snr_db = {self.min_snr_db}")
        return self
