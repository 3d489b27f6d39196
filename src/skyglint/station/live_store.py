"""Writing while watching: every closed echo on disk within a second or two, through locks and full disks.

What was handed over since the last commit is held until a commit succeeds. A commit that a lock refuses is tried again;
where even the rows in waiting cannot be kept (a full disk), all that is held is handed over anew as soon as there is
room. Nothing that was found is lost while the engine lives.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import numpy as np

from skyglint.errors import RequestError, StoreError
from skyglint.signals.block import SourceInfo
from skyglint.site import Channel
from skyglint.station.chain import Heard
from skyglint.station.keeper import Keeper
from skyglint.store.records import CoverageSpan
from skyglint.store.store import Store
from skyglint.store.writer import RecordingWriter, TagsOf, no_tags

log = logging.getLogger(__name__)

#: Longest time between two commits, and between two attempts while the database cannot be written.
COMMIT_S = 1.0
RETRY_S = 2.0
#: Steps of the chain that are held while the database cannot be written, a quarter of an hour of them; of what is older
#: strips and floors are given up.
MOST_HELD = 9_000
#: How long a commit waits for another writer; the samples that come meanwhile wait in the capture's queue.
PATIENCE_S = 1.0


class LiveStore:
    """A live recording in the database.

    Parameters
    ----------
    database, begin_run
        The file, and how a run is begun in it.
    info, channels
        What is watched.
    monotonic
        A clock that is never set.
    on_trouble
        Told the message when the database cannot be written.
    tags_of
        Says what else is known to belong to an echo.
    """

    def __init__(
        self,
        database: Path,
        begin_run: Callable[[Store], int],
        info: SourceInfo,
        channels: Sequence[Channel],
        monotonic: Callable[[], float],
        on_trouble: Callable[[StoreError], None],
        patience_s: float = PATIENCE_S,
        tags_of: TagsOf = no_tags,
    ) -> None:
        self._database, self._begin_run = database, begin_run
        self._info, self._channels = info, tuple(channels)
        self._monotonic, self._on_trouble = monotonic, on_trouble
        self._stack: ExitStack | None = None
        self._writer: RecordingWriter | None = None
        self._keeper: Keeper | None = None
        self._patience_s, self._tags_of = patience_s, tags_of
        self._held: list[Heard] = []
        self._handed_over = 0
        self._due = self._retry = 0.0

    @property
    def writable(self) -> bool:
        """Whether the last attempt to write succeeded; true before any."""
        return self._retry == 0.0

    def keep(self, heard: Heard) -> None:
        """Hold what was heard, and write and commit it when it is time or an echo has closed."""
        self._held.append(heard)
        if len(self._held) > MOST_HELD:
            self._condense()
        closed = any(findings.echoes for findings in heard.findings)
        self.flush(force=closed)

    def flush(self, force: bool = False) -> None:
        """Write and commit what is held, if it is time."""
        now = self._monotonic()
        if now < self._retry or (now < self._due and not force) or not self._held:
            return
        try:
            self._write()
            self._due, self._retry = now + COMMIT_S, 0.0
        except StoreError as error:
            self._retry = now + RETRY_S
            self._on_trouble(error)

    def close(self) -> None:
        """Write what is held and end the recording; what cannot be written even now is lost, and logged."""
        try:
            if self._held:
                self._write()
            if self._keeper is not None and self._stack is not None:
                self._keeper.finish()
                self._stack.close()
        except StoreError as error:
            log.error("results since the last commit are lost: %s", error)
            self._abandon()

    def _condense(self) -> None:
        """Make one of the older half: a disk that stays full all night must not fill the memory.

        What was handed over already and what was not stay apart.
        """
        done = self._handed_over
        older = max(len(self._held) // 2, done)
        parts = [part for part in (self._held[:done], self._held[done:older]) if part]
        self._held[:older] = [condensed(part) for part in parts]
        self._handed_over = 1 if done else 0

    def _write(self) -> None:
        if self._writer is None:
            self._open()
        assert self._keeper is not None  # opened just now or before
        assert self._writer is not None
        try:
            for heard in self._held[self._handed_over :]:
                self._keeper.keep(heard)
                self._handed_over += 1
        except StoreError:
            # The rows in waiting may end in the middle of one: begin again with all that is held.
            self._abandon()
            raise
        self._writer.commit()
        self._held.clear()
        self._handed_over = 0

    def _open(self) -> None:
        stack = ExitStack()
        try:
            store = stack.enter_context(Store.open(self._database, mode="create", patience_s=self._patience_s))
            run_id = self._begin_run(store)
            self._writer = stack.enter_context(store.recording(run_id, self._info, self._channels, live=True))
        except RequestError as error:
            stack.close()
            raise StoreError(str(error)) from error
        except StoreError:
            stack.close()
            raise
        self._stack, self._keeper = stack, Keeper(self._writer, self._tags_of)

    def _abandon(self) -> None:
        """Let go of the connection; the uncommitted part is still held here and is written again."""
        stack, self._stack, self._writer, self._keeper = self._stack, None, None, None
        self._handed_over = 0
        if stack is None:
            return
        try:
            # An error tells the recording's context to roll back instead of finishing.
            stack.__exit__(StoreError, StoreError("given up"), None)
        except StoreError as error:
            log.debug("while letting go of the database: %s", error)


def condensed(steps: Sequence[Heard]) -> Heard:
    """Return echoes and coverage of many steps as one; coverage that goes on is joined."""
    spans: list[CoverageSpan] = []
    last: dict[str, int] = {}
    for span in (span for step in steps for span in step.coverage):
        place = last.get(span.channel)
        if place is not None and _goes_on(spans[place], span):
            spans[place] = replace(spans[place], end_unix=span.end_unix)
        else:
            last[span.channel] = len(spans)
            spans.append(span)
    nothing = np.empty((0, 0), np.float32)
    findings = tuple(
        replace(found, floor=nothing, excess=nothing) for step in steps for found in step.findings if found.echoes
    )
    return Heard(coverage=tuple(spans), findings=findings)


def _goes_on(before: CoverageSpan, span: CoverageSpan) -> bool:
    alike = (before.state, before.reason) == (span.state, span.reason)
    return alike and abs(before.end_unix - span.start_unix) < 1e-6
