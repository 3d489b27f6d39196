"""Queries: rows of the database as records and arrays."""

from __future__ import annotations

import json
import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import sqlalchemy as sa

from skyglint.echoes.echo import Echo, Snippet
from skyglint.site import Channel
from skyglint.store import schema
from skyglint.store.packing import FLOOR_SCALE, STRIP_SCALE, Scale
from skyglint.store.records import CoverageSpan, FloorHistory, Recording, Run, StoredEcho, Strip, Tag, Verdict
from skyglint.store.series import Chunk, decimate
from skyglint.store.snippets import unpack_snippet
from skyglint.store.writer import CHUNK_S

_ECHO_COLUMNS = [item.name for item in fields(Echo) if item.name not in ("channel", "flags", "snippet")]
_ECHO_NUMBERS = {item.name for item in fields(Echo) if item.type == "float"}


@dataclass(frozen=True, slots=True)
class Selection:
    """Which rows: a half-open span of time, channels by name (None for all), and a site by name (None for all)."""

    start_unix: float = -math.inf
    end_unix: float = math.inf
    channels: Sequence[str] | None = None
    site_name: str | None = None

    def of_channels(self) -> list[sa.ColumnElement[bool]]:
        """Return the conditions on the table of channels."""
        table = schema.channels.c
        conditions: list[sa.ColumnElement[bool]] = []
        if self.channels is not None:
            conditions.append(table.name.in_(self.channels))
        if self.site_name is not None:
            conditions.append(table.site_name == self.site_name)
        return conditions

    def starting_within(self, table: sa.Table) -> list[sa.ColumnElement[bool]]:
        """Return the conditions for rows that start within the span, beside those on channels."""
        bounds = self.of_channels()
        if math.isfinite(self.start_unix):
            bounds.append(table.c.start_unix >= self.start_unix)
        if math.isfinite(self.end_unix):
            bounds.append(table.c.start_unix < self.end_unix)
        return bounds

    def overlapping(self, table: sa.Table, longest_s: float = math.inf) -> list[sa.ColumnElement[bool]]:
        """Return the conditions for rows that share time with the span; an index helps where they have a longest."""
        bounds = self.of_channels()
        if math.isfinite(self.start_unix):
            bounds.append(table.c.end_unix > self.start_unix)
            if math.isfinite(longest_s):
                bounds.append(table.c.start_unix > self.start_unix - longest_s)
        if math.isfinite(self.end_unix):
            bounds.append(table.c.start_unix < self.end_unix)
        return bounds


def read_runs(connection: sa.Connection, selection: Selection) -> list[Run]:
    """Return the runs of the site that wrote results, oldest first."""
    table = schema.runs
    wrote = sa.exists().where(schema.recordings.c.run_id == table.c.id)
    query = sa.select(table).where(wrote).order_by(table.c.id)
    if selection.site_name is not None:
        query = query.where(table.c.site_name == selection.site_name)
    return [Run(**row) for row in connection.execute(query).mappings()]


def read_recordings(connection: sa.Connection, selection: Selection) -> list[Recording]:
    """Return the recordings that share time with the selection, by start; one whose end is unknown counts too."""
    table = schema.recordings
    query = sa.select(*(table.c[item.name] for item in fields(Recording))).order_by(table.c.start_unix, table.c.id)
    if selection.site_name is not None:
        query = query.where(table.c.site_name == selection.site_name)
    if math.isfinite(selection.start_unix):
        query = query.where(table.c.end_unix.is_(None) | (table.c.end_unix > selection.start_unix))
    if math.isfinite(selection.end_unix):
        query = query.where(table.c.start_unix < selection.end_unix)
    return [
        Recording(
            **{
                **row,
                "fingerprint": row["fingerprint"] or "",
                "end_unix": _nan_if_null(row["end_unix"]),
                "clipped_share": _nan_if_null(row["clipped_share"]),
            }
        )
        for row in connection.execute(query).mappings()
    ]


def read_channels(connection: sa.Connection, selection: Selection) -> list[Channel]:
    """Return the channels as last declared under each name, in the order of the site file."""
    table = schema.channels
    order = (table.c.site_name, table.c.last_run_id, table.c.id)
    query = sa.select(table).where(*selection.of_channels()).order_by(*order)
    latest = {(row.site_name, row.name): row for row in connection.execute(query)}
    rows = sorted(latest.values(), key=lambda row: (row.site_name, -row.last_run_id, row.position))
    return [Channel.model_validate(json.loads(row.declaration)) for row in rows]


def read_coverage(connection: sa.Connection, selection: Selection) -> list[CoverageSpan]:
    """Return the spans of coverage that share time with the selection, whole, by start and channel."""
    table = schema.coverage
    query = (
        sa.select(schema.channels.c.name, table.c.start_unix, table.c.end_unix, table.c.state, table.c.reason)
        .join_from(table, schema.channels)
        .where(*selection.overlapping(table))
        .order_by(table.c.start_unix, schema.channels.c.position, table.c.id)
    )
    return [CoverageSpan(*row) for row in connection.execute(query)]


def read_span(connection: sa.Connection, selection: Selection) -> tuple[float, float] | None:
    """Return the start of the first and the end of the last span of coverage; None where there is none."""
    table = schema.coverage
    query = sa.select(sa.func.min(table.c.start_unix), sa.func.max(table.c.end_unix)).join_from(table, schema.channels)
    start_unix, end_unix = connection.execute(query.where(*selection.overlapping(table))).one()
    return None if start_unix is None else (start_unix, end_unix)


def read_echoes(connection: sa.Connection, selection: Selection) -> list[StoredEcho]:
    """Return the echoes that start within the selection, by start."""
    return _echoes(connection, selection.starting_within(schema.echoes))


def read_echo(connection: sa.Connection, echo_id: int) -> StoredEcho | None:
    """Return one echo, or None where there is none of this number."""
    found = _echoes(connection, [schema.echoes.c.id == echo_id])
    return found[0] if found else None


def _echoes(connection: sa.Connection, conditions: list[sa.ColumnElement[bool]]) -> list[StoredEcho]:
    table, channels, verdicts = schema.echoes, schema.channels, schema.verdicts
    query = (
        sa.select(
            table,
            channels.c.name.label("channel"),
            verdicts.c.echo_class.label("verdict_class"),
            verdicts.c.author,
            verdicts.c.remark,
            verdicts.c.created_unix,
        )
        .join_from(table, channels)
        .outerjoin(verdicts, verdicts.c.echo_id == table.c.id)
        .where(*conditions)
        .order_by(table.c.start_unix, table.c.id)
    )
    tags = _tags(connection, conditions)
    return [
        StoredEcho(row["id"], row["recording_id"], _echo(row), _verdict(row), tuple(tags.get(row["id"], ())))
        for row in connection.execute(query).mappings()
    ]


def _echo(row: sa.RowMapping) -> Echo:
    values: dict[str, Any] = {
        name: _nan_if_null(row[name]) if name in _ECHO_NUMBERS else row[name] for name in _ECHO_COLUMNS
    }
    flags = tuple(row["flags"].split(";")) if row["flags"] else ()
    return Echo(channel=row["channel"], flags=flags, **values)


def _verdict(row: sa.RowMapping) -> Verdict | None:
    if row["verdict_class"] is None:
        return None
    return Verdict(row["verdict_class"], row["author"], row["remark"], row["created_unix"])


def _tags(connection: sa.Connection, conditions: list[sa.ColumnElement[bool]]) -> dict[int, list[Tag]]:
    table = schema.tags
    query = sa.select(table).join_from(table, schema.echoes).join(schema.channels).where(*conditions)
    found: dict[int, list[Tag]] = defaultdict(list)
    for row in connection.execute(query.order_by(table.c.id)):
        found[row.echo_id].append(Tag(row.kind, row.name, row.details))
    return found


def read_snippet(connection: sa.Connection, echo_id: int) -> Snippet | None:
    """Return the picture of an echo, or None where none was kept."""
    row = connection.execute(sa.select(schema.snippets).where(schema.snippets.c.echo_id == echo_id)).one_or_none()
    return None if row is None else unpack_snippet(row)


def read_strips(connection: sa.Connection, selection: Selection, readings: int | None) -> list[Strip]:
    """Return each channel's power over its floor on one even grid over the selection, in the order of the channels.

    With ``readings`` given the grid has at most that many steps, and each holds the largest reading within it;
    otherwise the steps are those that were stored. An open-ended selection reaches over what is stored.
    """
    grid = _grid(connection, selection)
    if grid is None:
        return []
    start_unix, end_unix, step_s = grid
    if readings is not None:
        step_s = max(step_s, (end_unix - start_unix) / readings)
    n = max(math.ceil((end_unix - start_unix) / step_s - 1e-6), 1)
    strips = []
    for channel in read_channels(connection, selection):
        chunks = _chunks(connection, schema.strips, STRIP_SCALE, selection, channel.name)
        strips.append(Strip(channel.name, start_unix, step_s, decimate(chunks, start_unix, step_s, n)))
    return strips


def _grid(connection: sa.Connection, selection: Selection) -> tuple[float, float, float] | None:
    table = schema.strips
    # The longest step, so that a grid never has places between readings. Shorter steps come from the last reading
    # before a gap.
    query = sa.select(
        sa.func.min(table.c.start_unix), sa.func.max(table.c.end_unix), sa.func.max(table.c.step_s)
    ).join_from(table, schema.channels)
    start_unix, end_unix, step_s = connection.execute(query.where(*selection.overlapping(table, CHUNK_S))).one()
    if start_unix is None:
        return None
    start_unix = selection.start_unix if math.isfinite(selection.start_unix) else start_unix
    return start_unix, selection.end_unix if math.isfinite(selection.end_unix) else end_unix, step_s


def read_floors(connection: sa.Connection, selection: Selection) -> list[FloorHistory]:
    """Return each channel's floor readings that start within the selection, in the order of the channels."""
    histories = []
    for channel in read_channels(connection, selection):
        chunks = list(_chunks(connection, schema.floors, FLOOR_SCALE, selection, channel.name))
        time_unix = _joined([chunk.start_unix + np.arange(len(chunk.level_db)) * chunk.step_s for chunk in chunks])
        floor_db = _joined([chunk.level_db for chunk in chunks]).astype(np.float32)
        within = (time_unix >= selection.start_unix) & (time_unix < selection.end_unix)
        histories.append(FloorHistory(channel.name, time_unix[within], floor_db[within]))
    return histories


def _joined(parts: list[Any]) -> Any:
    return np.concatenate(parts) if parts else np.empty(0)


def _chunks(
    connection: sa.Connection, table: sa.Table, scale: Scale, selection: Selection, channel: str
) -> Iterable[Chunk]:
    query = (
        sa.select(table.c.start_unix, table.c.step_s, table.c.data)
        .join_from(table, schema.channels)
        .where(schema.channels.c.name == channel, *selection.overlapping(table, CHUNK_S))
        .order_by(table.c.start_unix)
    )
    for row in connection.execute(query):
        yield Chunk(row.start_unix, row.step_s, scale.unpack(row.data))


def _nan_if_null(value: float | None) -> float:
    return math.nan if value is None else value
