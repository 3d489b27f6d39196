"""A recording's rows into the tables, within a transaction."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import sqlalchemy as sa

from skyglint.signals.block import SourceInfo
from skyglint.site import Channel
from skyglint.store.schema import channels, coverage, echoes, floors, recordings, runs, snippets, strips
from skyglint.store.spool import Row
from skyglint.store.tags import tag_echo

_SERIES = {"floors": floors, "strips": strips}


def null_if_nan(value: float) -> float | None:
    """Return what the database holds for a number: NULL for "not measured"."""
    return None if math.isnan(value) else float(value)


def insert_recording(connection: sa.Connection, run_id: int, info: SourceInfo) -> int:
    """Insert a recording in place of an earlier scan of the same, and return its number."""
    site_name = site_of_run(connection, run_id)
    _drop_earlier(connection, site_name, run_id, info.fingerprint)
    return _insert(
        connection,
        recordings,
        run_id=run_id,
        site_name=site_name,
        name=info.name,
        fingerprint=info.fingerprint or None,
        encoding=info.encoding,
        sample_rate_hz=info.sample_rate_hz,
        center_frequency_hz=info.center_frequency_hz,
        start_unix=info.start_unix,
        end_unix=null_if_nan(info.end_unix),
        samples=0,
    )


def site_of_run(connection: sa.Connection, run_id: int) -> str:
    """Return the name of the site that a run belongs to."""
    site_name: str = connection.execute(sa.select(runs.c.site_name).where(runs.c.id == run_id)).scalar_one()
    return site_name


def _drop_earlier(connection: sa.Connection, site_name: str, run_id: int, fingerprint: str) -> None:
    """Remove an earlier scan of the same recording, and its run when nothing else is left of that."""
    same = (recordings.c.site_name == site_name) & (recordings.c.fingerprint == fingerprint)
    earlier = connection.execute(sa.select(recordings.c.id, recordings.c.run_id).where(same)).one_or_none()
    if earlier is None:
        return
    connection.execute(recordings.delete().where(recordings.c.id == earlier.id))
    left = sa.select(recordings.c.id).where(recordings.c.run_id == earlier.run_id)
    connection.execute(runs.delete().where(runs.c.id == earlier.run_id, runs.c.id != run_id, ~left.exists()))


def channel_ids(connection: sa.Connection, run_id: int, declared: Sequence[Channel]) -> dict[str, int]:
    """Return the number of each channel's row by name; one is made unless it was declared exactly so before."""
    site_name = site_of_run(connection, run_id)
    return {
        channel.name: _channel_id(connection, site_name, run_id, position, channel)
        for position, channel in enumerate(declared)
    }


def _channel_id(connection: sa.Connection, site_name: str, run_id: int, position: int, channel: Channel) -> int:
    identity = {
        "site_name": site_name,
        "name": channel.name,
        "declaration": json.dumps(channel.model_dump(exclude_none=True), sort_keys=True),
    }
    latest = {"last_run_id": run_id, "position": position}
    known = connection.scalar(sa.select(channels.c.id).filter_by(**identity))
    if known is None:
        return _insert(connection, channels, **identity, **latest)
    connection.execute(channels.update().where(channels.c.id == known).values(latest))
    return int(known)


def insert_rows(
    connection: sa.Connection, recording_id: int, channel_ids: Mapping[str, int], rows: Iterable[Row]
) -> None:
    """Insert a recording's rows in their order."""
    for table, channel, columns, picture, tags in rows:
        whole = {"recording_id": recording_id, "channel_id": channel_ids[channel], **columns}
        if table == "echoes":
            echo_id = _insert(connection, echoes, **whole)
            if picture is not None:
                connection.execute(snippets.insert().values(echo_id=echo_id, **picture))
            for tag in tags:
                tag_echo(connection, echo_id, tag)
        elif table == "coverage":
            _put_span(connection, whole)
        else:
            connection.execute(_SERIES[table].insert().values(whole))


def _put_span(connection: sa.Connection, span: Mapping[str, Any]) -> None:
    """Insert a span of coverage, or let one that began at the same moment grow to its end."""
    same = (
        (coverage.c.recording_id == span["recording_id"])
        & (coverage.c.channel_id == span["channel_id"])
        & (coverage.c.start_unix == span["start_unix"])
    )
    grown = connection.execute(coverage.update().where(same).values(end_unix=span["end_unix"]))
    if not grown.rowcount:
        connection.execute(coverage.insert().values(span))


def _insert(connection: sa.Connection, table: sa.Table, **columns: Any) -> int:
    key = connection.execute(table.insert().values(columns)).inserted_primary_key
    assert key is not None  # one row was inserted
    return int(key[0])
