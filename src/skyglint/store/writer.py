"""Taking one recording's results as they come, and writing them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager
from dataclasses import fields
from typing import Any

import sqlalchemy as sa
from numpy.typing import ArrayLike

from skyglint.echoes.echo import Echo
from skyglint.signals.block import SourceInfo
from skyglint.site import Channel
from skyglint.store.packing import FLOOR_SCALE, STRIP_SCALE, Scale
from skyglint.store.records import CoverageSpan, Tag
from skyglint.store.rows import channel_ids, insert_recording, insert_rows, null_if_nan
from skyglint.store.schema import recordings
from skyglint.store.series import Chunk, Chunker
from skyglint.store.snippets import pack_snippet
from skyglint.store.spool import Spool
from skyglint.store.tags import put_back, tags_of_earlier
from skyglint.store.verdicts import reattach_verdicts

#: Longest chunk of a strip or floor: a reader of a few minutes unpacks little, and a day of 12 channels stays under
#: 2,000 rows. While watching live, what a power cut may take is kept to a minute.
CHUNK_S = 600.0
LIVE_CHUNK_S = 60.0

#: Spans of coverage that meet within this time are one.
_SAME_MOMENT_S = 1e-3

_ECHO_NUMBERS = [item.name for item in fields(Echo) if item.type == "float"]
_ECHO_WORDS = ["echo_class", "reason", "rds_pi", "details"]
_SCALES: dict[str, Scale] = {"floors": FLOOR_SCALE, "strips": STRIP_SCALE}

Transaction = Callable[[], AbstractContextManager[sa.Connection]]


#: Says what else is known to belong to an echo.
TagsOf = Callable[[Echo], Iterable[Tag]]


def no_tags(_: Echo) -> tuple[Tag, ...]:
    """Say that nothing is."""
    return ()


class RecordingWriter:
    """Takes the results of one recording as they come, in order of time; memory stays flat however long it is.

    Comes from ``Store.recording``. What comes in waits outside the database, so that other writers are kept waiting
    only while it is written: at the end of a recording, and at each ``commit`` while watching live.
    """

    def __init__(
        self,
        transaction: Transaction,
        run_id: int,
        info: SourceInfo,
        declared: Sequence[Channel],
        live: bool,
        spool: Spool,
    ) -> None:
        self._transaction = transaction
        self._run_id = run_id
        self._info = info
        self._declared = declared
        self._live = live
        self._spool = spool
        self._names = {channel.name for channel in declared}
        self._recording_id: int | None = None
        self._totals: dict[str, Any] = {}
        self._open_spans: dict[str, CoverageSpan] = {}
        self._chunkers: dict[tuple[str, str], Chunker] = {}

    def add_echoes(self, found: Iterable[Echo], tags_of: TagsOf = no_tags) -> None:
        """Take echoes, each with its picture where it has one, and with what else is known to belong to it."""
        for echo in found:
            row: dict[str, Any] = {name: null_if_nan(getattr(echo, name)) for name in _ECHO_NUMBERS}
            row |= {name: getattr(echo, name) for name in _ECHO_WORDS}
            row["flags"] = ";".join(echo.flags)
            picture = pack_snippet(echo.snippet) if echo.snippet is not None else None
            self._put("echoes", echo.channel, row, picture, tuple(tags_of(echo)))

    def add_coverage(self, spans: Iterable[CoverageSpan]) -> None:
        """Take spans of coverage; consecutive spans of a channel with the same state and reason become one."""
        for span in spans:
            if not span.end_unix > span.start_unix:
                continue
            last = self._open_spans.get(span.channel)
            if last is not None and _continues(last, span):
                span = CoverageSpan(span.channel, last.start_unix, span.end_unix, span.state, span.reason)
            elif last is not None:
                self._put_span(last)
            self._open_spans[span.channel] = span

    def add_floor(self, channel: str, start_unix: float, step_s: float, floor_db: ArrayLike) -> None:
        """Take readings of a channel's floor, shape (n,), dB relative to full scale; NaN where not measured."""
        self._add_series("floors", channel, start_unix, step_s, floor_db)

    def add_strip(self, channel: str, start_unix: float, step_s: float, power_db: ArrayLike) -> None:
        """Take readings of a channel's power over its floor, shape (n,), dB; NaN where not measured."""
        self._add_series("strips", channel, start_unix, step_s, power_db)

    def set_samples(self, samples: int, clipped_share: float) -> None:
        """State how many samples were read so far and which share of them was at the converter's rails."""
        self._totals |= {"samples": samples, "clipped_share": null_if_nan(clipped_share)}

    def commit(self) -> None:
        """Make what is known so far durable, within a live recording only.

        Echoes and coverage are complete up to now; strips and floors up to their last whole chunk. When it fails
        (a full disk, a locked database), nothing is lost: the next one writes it too.
        """
        if not self._live:
            raise ValueError("a recording is stored whole or not at all: commit is for watching live")
        self._write()

    def finish(self) -> None:
        """Write everything that is in hand. ``Store.recording`` calls this at its end."""
        for (table, channel), chunker in self._chunkers.items():
            self._put_chunks(table, channel, chunker.reset())
        self._write()

    def _put(
        self,
        table: str,
        channel: str,
        columns: dict[str, Any],
        picture: dict[str, Any] | None = None,
        tags: tuple[Tag, ...] = (),
    ) -> None:
        if channel not in self._names:
            raise ValueError(f'"{channel}" is not one of the channels of this recording')
        self._spool.put((table, channel, columns, picture, tags))

    def _put_span(self, span: CoverageSpan) -> None:
        columns = {name: getattr(span, name) for name in ("start_unix", "end_unix", "state", "reason")}
        self._put("coverage", span.channel, columns)

    def _add_series(self, table: str, channel: str, start_unix: float, step_s: float, level_db: ArrayLike) -> None:
        new = Chunker(LIVE_CHUNK_S if self._live else CHUNK_S)
        chunker = self._chunkers.setdefault((table, channel), new)
        self._put_chunks(table, channel, chunker.process(start_unix, step_s, level_db))

    def _put_chunks(self, table: str, channel: str, chunks: Iterable[Chunk]) -> None:
        for chunk in chunks:
            columns = {name: getattr(chunk, name) for name in ("start_unix", "end_unix", "step_s")}
            self._put(table, channel, columns | {"data": _SCALES[table].pack(chunk.level_db)})

    def _write(self) -> None:
        for span in self._open_spans.values():
            self._put_span(span)
        if math.isnan(self._info.end_unix) and self._open_spans:
            self._totals["end_unix"] = max(span.end_unix for span in self._open_spans.values())
        with self._transaction() as connection:
            kept = [] if self._recording_id else tags_of_earlier(connection, self._run_id, self._info.fingerprint)
            number = self._recording_id or insert_recording(connection, self._run_id, self._info)
            numbers = channel_ids(connection, self._run_id, self._declared)
            insert_rows(connection, number, numbers, self._spool.rows())
            if self._totals:
                connection.execute(recordings.update().where(recordings.c.id == number).values(self._totals))
            reattach_verdicts(connection, number)
            put_back(connection, number, kept)
        self._recording_id = number
        self._spool.clear()


def _continues(last: CoverageSpan, span: CoverageSpan) -> bool:
    meets = abs(span.start_unix - last.end_unix) < _SAME_MOMENT_S
    return meets and (span.state, span.reason) == (last.state, last.reason)
