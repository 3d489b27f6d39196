"""The tables that other programs read: their columns, units and rows, whatever file they go into."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal, get_args

from skyglint import __version__
from skyglint.activity.rates import Rate, read_rates
from skyglint.store import CoverageSpan, Store, StoredEcho
from skyglint.utc import format_utc

TableName = Literal["echoes", "coverage", "rates"]
TABLE_NAMES: tuple[TableName, ...] = get_args(TableName)

#: A cell: whole number, number, or text; a time is POSIX seconds to the millisecond; None is "not measured".
Cell = int | float | str | None

ColumnType = Literal["integer", "number", "text", "time"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column: name, type, unit (as FITS and astropy write it; empty for none) and what it says."""

    name: str
    type: ColumnType
    unit: str
    description: str


@dataclass(frozen=True, slots=True)
class Table:
    """A table on its way out.

    Attributes
    ----------
    columns
        In the order of the file.
    rows
        One tuple of cells a row; can be read once.
    provenance
        Where the rows come from, fit for JSON. No place: a table may be published.
    """

    columns: tuple[Column, ...]
    rows: Iterator[tuple[Cell, ...]]
    provenance: dict[str, Any]


ECHO_COLUMNS = (
    Column("id", "integer", "", "number of the echo in its database"),
    Column("channel", "text", "", "name of the channel"),
    Column("start_utc", "time", "", "start of the first frame above the detection threshold"),
    Column("duration_s", "number", "s", "from there to the end of the last frame above it"),
    Column("peak_utc", "time", "", "time of the strongest frame"),
    Column("peak_snr_db", "number", "dB", "10 log10 of (peak - floor) / floor; for a carrier referred to 1 Hz"),
    Column("energy_snr_s", "number", "s", "sum of (power - floor) / floor times the frame length"),
    Column("class", "text", "", "the operator's class where there is one, the machine's otherwise"),
    Column("class_probability", "number", "", "probability of the machine's class; empty for an operator's"),
    Column("decay_time_s", "number", "s", "1/e time of the amplitude of an underdense echo"),
    Column("decay_time_sd_s", "number", "s", "standard error of it"),
    Column("doppler_hz", "number", "Hz", "shift relative to the transmitter's own offset"),
    Column("doppler_sd_hz", "number", "Hz", "standard error of it"),
    Column("doppler_rate_hz_s", "number", "Hz / s", "rate of the shift"),
    Column("height_km", "number", "km", "height from the decay time"),
    Column("height_sd_km", "number", "km", "standard error of it"),
    Column("rds_pi", "text", "", "programme identification decoded within the burst"),
    Column("flags", "text", "", "what to distrust, separated by semicolons"),
)
COVERAGE_COLUMNS = (
    Column("channel", "text", "", "name of the channel"),
    Column("start_utc", "time", "", "start of the span, which belongs to it"),
    Column("end_utc", "time", "", "end of the span, which does not"),
    Column("state", "text", "", "watched or lost"),
    Column("reason", "text", "", "why it was lost"),
)
RATE_COLUMNS = (
    Column("channel", "text", "", "name of the channel"),
    Column("start_utc", "time", "", "start of the clock hour"),
    Column("end_utc", "time", "", "end of the clock hour"),
    Column("echoes", "integer", "", "echoes that began in it and count as meteors"),
    Column("coverage_s", "number", "s", "time watched"),
    Column("busy_s", "number", "s", "time of it hidden by echoes of any class"),
    Column("rate_per_h", "number", "1 / h", "echoes / (coverage - busy); empty where the channel was not live"),
    Column("rate_low_per_h", "number", "1 / h", "lower central Poisson limit, 68.27 % (Garwood 1936)"),
    Column("rate_high_per_h", "number", "1 / h", "upper central Poisson limit, 68.27 % (Garwood 1936)"),
    Column("solar_longitude_deg", "number", "deg", "solar longitude (J2000) at the middle of the hour"),
    Column("local_solar_hour", "number", "h", "local apparent solar time at the site at the middle of the hour"),
)

#: Echoes are read a week at a time, so that years of them do not have to fit into memory.
_PIECE_S = 7 * 86_400.0


def make_table(
    store: Store,
    name: TableName,
    start_unix: float = -math.inf,
    end_unix: float = math.inf,
    channels: Sequence[str] | None = None,
) -> Table:
    """Return a table of a database: echoes that start within the span, coverage and rates that share time with it.

    Raises
    ------
    RequestError
        If there is no channel of a name.
    """
    store.require_channels(channels)
    columns, rows = _TABLES[name]
    provenance = {
        "table": name,
        "software": f"Skyglint {__version__}",
        "roles": {channel.name: channel.role for channel in store.channels()},
        "runs": [
            {
                "id": run.id,
                "site": run.site_name,
                "version": run.version,
                "created_utc": format_utc(run.created_unix),
                "parameters": run.parameters,
            }
            for run in store.runs()
        ],
    }
    return Table(columns, rows(store, start_unix, end_unix, channels), provenance)


Reader = Callable[[Store, float, float, Sequence[str] | None], Iterator[tuple[Cell, ...]]]


def _echo_rows(
    store: Store, start_unix: float, end_unix: float, channels: Sequence[str] | None
) -> Iterator[tuple[Cell, ...]]:
    for piece in _pieces(store, start_unix, end_unix):
        yield from map(_echo_row, store.echoes(*piece, channels))


def _pieces(store: Store, start_unix: float, end_unix: float) -> Iterator[tuple[float, float]]:
    """Yield spans of a week that follow each other from start to end; the outer two may be open."""
    first, last = store.span() or (0.0, 0.0)
    border, last = max(start_unix, first) + _PIECE_S, min(end_unix, last)
    while border < last:
        yield start_unix, border
        start_unix, border = border, border + _PIECE_S
    yield start_unix, end_unix


def _echo_row(stored: StoredEcho) -> tuple[Cell, ...]:
    echo = stored.echo
    return (
        stored.id,
        echo.channel,
        _time(echo.start_unix),
        rounded(echo.duration_s),
        _time(echo.peak_unix),
        rounded(echo.peak_snr_db),
        rounded(echo.energy_snr_s),
        stored.echo_class,
        None if stored.verdict else rounded(echo.class_probability),
        rounded(echo.decay_time_s),
        rounded(echo.decay_time_sd_s),
        rounded(echo.doppler_hz),
        rounded(echo.doppler_sd_hz),
        rounded(echo.doppler_rate_hz_s),
        rounded(echo.height_km),
        rounded(echo.height_sd_km),
        echo.rds_pi or None,
        ";".join(echo.flags) or None,
    )


def _coverage_rows(
    store: Store, start_unix: float, end_unix: float, channels: Sequence[str] | None
) -> Iterator[tuple[Cell, ...]]:
    return map(_coverage_row, store.coverage(start_unix, end_unix, channels))


def _coverage_row(span: CoverageSpan) -> tuple[Cell, ...]:
    return span.channel, _time(span.start_unix), _time(span.end_unix), span.state, span.reason or None


def _rate_rows(
    store: Store, start_unix: float, end_unix: float, channels: Sequence[str] | None
) -> Iterator[tuple[Cell, ...]]:
    return map(rate_cells, read_rates(store, "hour", start_unix, end_unix, channels))


def rate_cells(rate: Rate) -> tuple[Cell, ...]:
    """Return the row of the table ``rates`` for one rate."""
    return (
        rate.channel,
        _time(rate.start_unix),
        _time(rate.end_unix),
        rate.echoes,
        rounded(rate.coverage_s),
        rounded(rate.busy_s),
        rounded(rate.rate_per_h),
        rounded(rate.rate_low_per_h),
        rounded(rate.rate_high_per_h),
        rounded(rate.solar_longitude_deg),
        rounded(rate.local_solar_hour),
    )


_TABLES: dict[TableName, tuple[tuple[Column, ...], Reader]] = {
    "echoes": (ECHO_COLUMNS, _echo_rows),
    "coverage": (COVERAGE_COLUMNS, _coverage_rows),
    "rates": (RATE_COLUMNS, _rate_rows),
}


def as_text(column: Column, cell: Cell) -> Cell:
    """Return a cell as text formats hold it: a time in ISO 8601, anything else as it is."""
    return format_utc(float(cell)) if column.type == "time" and cell is not None else cell


def _time(unix: float) -> float:
    return round(unix, 3)


def rounded(value: float) -> float | None:
    """Return the value to seven digits, which is more than any of them deserves; None for NaN."""
    return None if math.isnan(value) else float(f"{value:.7g}")
