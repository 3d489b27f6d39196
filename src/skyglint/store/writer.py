"""Writing one recording's results."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Sequence
from dataclasses import fields
from typing import Any

import sqlalchemy as sa
from numpy.typing import ArrayLike

from skyglint.echoes.echo import Echo
from skyglint.signals.block import SourceInfo
from skyglint.site import Channel
from skyglint.store.packing import FLOOR_SCALE, STRIP_SCALE, Scale
from skyglint.store.records import CoverageSpan
from skyglint.store.schema import channels, coverage, echoes, floors, recordings, runs, snippets, strips
from skyglint.store.series import Chunk, Chunker
from skyglint.store.snippets import pack_snippet
from skyglint.store.verdicts import reattach_verdicts

#: Longest chunk of a strip or floor: a reader of a few minutes unpacks little, and a day of 12 channels stays under
#: 2,000 rows. While watching live, what a power cut may take is kept to a minute.
CHUNK_S = 600.0
LIVE_CHUNK_S = 60.0

#: Spans of coverage that meet within this time are one.
_SAME_MOMENT_S = 1e-3

_ECHO_NUMBERS = [item.name for item in fields(Echo) if item.type == "float"]
_ECHO_WORDS = ["echo_class", "reason", "rds_pi", "details"]


class RecordingWriter:
    """Takes the results of one recording as they come, in order of time; memory stays flat however long it is.

    Comes from ``Store.recording``, which makes all of it one transaction. While watching live, ``commit`` makes
    everything so far durable and lets other writers in.
    """

    def __init__(
        self, connection: sa.Connection, run_id: int, info: SourceInfo, declared: Sequence[Channel], live: bool
    ) -> None:
        self._connection = connection
        self._live = live
        self._chunk_s = LIVE_CHUNK_S if live else CHUNK_S
        site_name = connection.scalar(sa.select(runs.c.site_name).where(runs.c.id == run_id))
        if site_name is None:
            raise ValueError(f"there is no run {run_id}")
        _drop_earlier(connection, site_name, run_id, info.fingerprint)
        self._channel_ids = {
            channel.name: _channel_id(connection, site_name, run_id, position, channel)
            for position, channel in enumerate(declared)
        }
        self.recording_id = _insert_recording(connection, site_name, run_id, info)
        self._end_unix = info.end_unix
        self._spans: dict[str, tuple[CoverageSpan, int | None]] = {}
        self._chunkers: dict[tuple[str, str], Chunker] = {}

    def add_echoes(self, found: Iterable[Echo]) -> None:
        """Store echoes, each with its picture where it has one."""
        for echo in found:
            row: dict[str, Any] = {name: _null_if_nan(getattr(echo, name)) for name in _ECHO_NUMBERS}
            row |= {name: getattr(echo, name) for name in _ECHO_WORDS}
            row["flags"] = ";".join(echo.flags)
            made = self._connection.execute(
                echoes.insert().values(
                    recording_id=self.recording_id, channel_id=self._channel_ids[echo.channel], **row
                )
            )
            if echo.snippet is not None:
                self._connection.execute(snippets.insert().values(echo_id=_new_id(made), **pack_snippet(echo.snippet)))

    def add_coverage(self, spans: Iterable[CoverageSpan]) -> None:
        """Store spans of coverage; consecutive spans of a channel with the same state and reason become one."""
        for span in spans:
            if not span.end_unix > span.start_unix:
                continue
            last, row_id = self._spans.get(span.channel, (None, None))
            if last is not None and _continues(last, span):
                joined = CoverageSpan(span.channel, last.start_unix, span.end_unix, span.state, span.reason)
                self._spans[span.channel] = joined, row_id
            else:
                if last is not None:
                    self._store_span(last, row_id)
                self._spans[span.channel] = span, None

    def add_floor(self, channel: str, start_unix: float, step_s: float, floor_db: ArrayLike) -> None:
        """Store readings of a channel's floor, shape (n,), dB relative to full scale; NaN where not measured."""
        self._add_series(floors, FLOOR_SCALE, channel, start_unix, step_s, floor_db)

    def add_strip(self, channel: str, start_unix: float, step_s: float, power_db: ArrayLike) -> None:
        """Store readings of a channel's power over its floor, shape (n,), dB; NaN where not measured."""
        self._add_series(strips, STRIP_SCALE, channel, start_unix, step_s, power_db)

    def set_samples(self, samples: int, clipped_share: float) -> None:
        """State how many samples were read so far and which share of them was at the converter's rails."""
        self._update_recording(samples=samples, clipped_share=_null_if_nan(clipped_share))

    def commit(self) -> None:
        """Make what is known so far durable, within a live recording only.

        Echoes and coverage are complete up to now; strips and floors up to their last whole chunk.
        """
        if not self._live:
            raise ValueError("a recording is stored whole or not at all: commit is for watching live")
        self._store_spans()
        self._connection.commit()

    def finish(self) -> None:
        """Store what is still in hand. ``Store.recording`` calls this at its end."""
        self._store_spans()
        for (table, channel), chunker in self._chunkers.items():
            self._store_chunks(_SERIES[table], channel, chunker.reset())
        reattach_verdicts(self._connection, self.recording_id)

    def _add_series(
        self, table: sa.Table, scale: Scale, channel: str, start_unix: float, step_s: float, level_db: ArrayLike
    ) -> None:
        key = (table.name, channel)
        chunker = self._chunkers.setdefault(key, Chunker(self._chunk_s))
        self._store_chunks((table, scale), channel, chunker.process(start_unix, step_s, level_db))

    def _store_chunks(self, series: tuple[sa.Table, Scale], channel: str, chunks: Iterable[Chunk]) -> None:
        table, scale = series
        for chunk in chunks:
            self._connection.execute(
                table.insert().values(
                    recording_id=self.recording_id,
                    channel_id=self._channel_ids[channel],
                    start_unix=chunk.start_unix,
                    end_unix=chunk.end_unix,
                    step_s=chunk.step_s,
                    data=scale.pack(chunk.level_db),
                )
            )

    def _store_spans(self) -> None:
        for channel, (span, row_id) in self._spans.items():
            self._spans[channel] = span, self._store_span(span, row_id)
        if math.isnan(self._end_unix) and self._spans:
            self._update_recording(end_unix=max(span.end_unix for span, _ in self._spans.values()))

    def _store_span(self, span: CoverageSpan, row_id: int | None) -> int:
        if row_id is not None:
            self._connection.execute(coverage.update().where(coverage.c.id == row_id).values(end_unix=span.end_unix))
            return row_id
        return _new_id(
            self._connection.execute(
                coverage.insert().values(
                    recording_id=self.recording_id,
                    channel_id=self._channel_ids[span.channel],
                    start_unix=span.start_unix,
                    end_unix=span.end_unix,
                    state=span.state,
                    reason=span.reason,
                )
            )
        )

    def _update_recording(self, **values: Any) -> None:
        self._connection.execute(recordings.update().where(recordings.c.id == self.recording_id).values(**values))


_SERIES = {"floors": (floors, FLOOR_SCALE), "strips": (strips, STRIP_SCALE)}


def _new_id(result: sa.CursorResult[Any]) -> int:
    key = result.inserted_primary_key
    assert key is not None  # every insertion here is of one row
    return int(key[0])


def _null_if_nan(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


def _continues(last: CoverageSpan, span: CoverageSpan) -> bool:
    meets = abs(span.start_unix - last.end_unix) < _SAME_MOMENT_S
    return meets and (span.state, span.reason) == (last.state, last.reason)


def _drop_earlier(connection: sa.Connection, site_name: str, run_id: int, fingerprint: str) -> None:
    """Remove an earlier scan of the same recording, and its run when nothing else is left of that."""
    same = (recordings.c.site_name == site_name) & (recordings.c.fingerprint == fingerprint)
    earlier = connection.execute(sa.select(recordings.c.id, recordings.c.run_id).where(same)).one_or_none()
    if earlier is None:
        return
    connection.execute(recordings.delete().where(recordings.c.id == earlier.id))
    left = sa.select(recordings.c.id).where(recordings.c.run_id == earlier.run_id)
    connection.execute(runs.delete().where(runs.c.id == earlier.run_id, runs.c.id != run_id, ~left.exists()))


def _insert_recording(connection: sa.Connection, site_name: str, run_id: int, info: SourceInfo) -> int:
    return _new_id(
        connection.execute(
            recordings.insert().values(
                run_id=run_id,
                site_name=site_name,
                name=info.name,
                fingerprint=info.fingerprint or None,
                encoding=info.encoding,
                sample_rate_hz=info.sample_rate_hz,
                center_frequency_hz=info.center_frequency_hz,
                start_unix=info.start_unix,
                end_unix=_null_if_nan(info.end_unix),
                samples=0,
            )
        )
    )


def _channel_id(connection: sa.Connection, site_name: str, run_id: int, position: int, channel: Channel) -> int:
    """Return the number of the channel's row, a new one unless it was declared exactly so before."""
    declaration = json.dumps(channel.model_dump(exclude_none=True), sort_keys=True)
    same = (
        (channels.c.site_name == site_name)
        & (channels.c.name == channel.name)
        & (channels.c.declaration == declaration)
    )
    known = connection.scalar(sa.select(channels.c.id).where(same))
    if known is not None:
        connection.execute(
            channels.update().where(channels.c.id == known).values(last_run_id=run_id, position=position)
        )
        return int(known)
    return _new_id(
        connection.execute(
            channels.insert().values(
                site_name=site_name,
                name=channel.name,
                declaration=declaration,
                last_run_id=run_id,
                position=position,
            )
        )
    )
