"""The shapes of the open interface's answers; the rows are those of the exported tables."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, Field, create_model

from skyglint.report.tables import (
    COVERAGE_COLUMNS,
    ECHO_COLUMNS,
    RATE_COLUMNS,
    Column,
)

_TYPES: dict[str, Any] = {"integer": int | None, "number": float | None, "text": str | None, "time": str | None}


def _row(name: str, columns: tuple[Column, ...]) -> type[BaseModel]:
    fields: dict[str, Any] = {
        column.name: (
            _TYPES[column.type],
            Field(description=column.description + (f" ({column.unit})" if column.unit else "")),
        )
        for column in columns
    }
    return create_model(name, **fields)


EchoRow = _row("EchoRow", ECHO_COLUMNS)
CoverageRow = _row("CoverageRow", COVERAGE_COLUMNS)
RateRow = _row("RateRow", RATE_COLUMNS)

_more = Field(description="number of the first row of the next page; null on the last")
EchoRows = create_model("EchoRows", rows=(list[EchoRow], ...), next_offset=(int | None, _more))  # type: ignore[valid-type]
CoverageRows = create_model("CoverageRows", rows=(list[CoverageRow], ...), next_offset=(int | None, _more))  # type: ignore[valid-type]
RateRows = create_model("RateRows", rows=(list[RateRow], ...), next_offset=(int | None, _more))  # type: ignore[valid-type]


class Place(BaseModel):
    """A place, rounded where the operator did not say otherwise."""

    latitude_deg: float
    longitude_deg: float
    rounded_to_deg: float


class ChannelRecord(BaseModel):
    """A channel of the site."""

    name: str
    role: str
    kind: str
    frequency_hz: float
    bandwidth_hz: float
    transmitter_latitude_deg: float | None
    transmitter_longitude_deg: float | None
    rds_pi: str | None


class StationRecord(BaseModel):
    """The station and how it stands."""

    name: str
    place: Place
    state: str = Field(description="starting, watching, waiting, lost, or silent when the engine does not speak")
    sentence: str
    now_utc: str
    version: str
    channels: list[ChannelRecord]


class NightRecord(BaseModel):
    """A night of which something is known."""

    evening: str = Field(description="date on which its evening begins")
    start_utc: str = Field(description="local mean solar noon before it")
    end_utc: str = Field(description="local mean solar noon after it")


class Nights(BaseModel):
    """All nights, oldest first."""

    nights: list[NightRecord]
