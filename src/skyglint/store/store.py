"""A database of results, opened."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import sqlalchemy as sa

import skyglint
from skyglint.echoes.echo import Snippet
from skyglint.errors import RequestError, StoreError
from skyglint.signals.block import SourceInfo
from skyglint.site import Channel
from skyglint.store import reader, schema, upgrade
from skyglint.store.engine import Mode, check_file, is_url, make_engine, shown, translated
from skyglint.store.pictures import drop_weakest, picture_bytes
from skyglint.store.reader import Selection
from skyglint.store.records import (
    CoverageSpan,
    FloorHistory,
    Recording,
    Run,
    StoredEcho,
    Strip,
    Tag,
    Verdict,
)
from skyglint.store.spool import open_spool
from skyglint.store.tags import retag, tag_echo
from skyglint.store.verdicts import give_verdict
from skyglint.store.writer import RecordingWriter


class Store:
    """A database of results; comes from ``Store.open`` and is closed by ``close`` or at the end of a ``with``.

    All methods raise `StoreError` where the database cannot be read or written, with its name and the reason. One
    store may be used from several threads.
    """

    def __init__(self, target: Path | str, engine: sa.Engine, site_name: str | None) -> None:
        self._target = target
        self._engine = engine
        self._site_name = site_name

    @classmethod
    def open(
        cls, target: Path | str, mode: Mode = "read", site_name: str | None = None, patience_s: float = 30.0
    ) -> Self:
        """Open a database file, or one on a server by its URL.

        Parameters
        ----------
        target
            Path of a file, or ``postgresql+psycopg://...``.
        mode
            ``read``; ``write`` to an existing database; ``create`` it where it is missing, and write. When opened for
            writing, a database of an older version is brought to the present one in one transaction.
        site_name
            Read only what belongs to this site; None for all that is there.
        patience_s
            How long a writer waits for another to finish.

        Raises
        ------
        RequestError
            If the file is missing or a folder, or nothing in it belongs to the site.
        StoreError
            If it is not a database of Skyglint's, or of a newer version, or there is no permission.
        """
        if not is_url(target):
            check_file(Path(target), mode)
        engine = make_engine(target, mode, patience_s)
        store = cls(target, engine, site_name)
        try:
            store._bring_up_to_date(mode)
            store._check_site()
        except BaseException:
            engine.dispose()
            raise
        return store

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Close all connections."""
        self._engine.dispose()

    def _bring_up_to_date(self, mode: Mode) -> None:
        with self._reading() as connection:
            revision = upgrade.revision_of(connection)
            empty = not sa.inspect(connection).get_table_names()
        name, known = shown(self._target), upgrade.known_revisions()
        if revision is None and not empty:
            raise StoreError(f"{name}: is the database of another program: expected one that Skyglint made")
        if revision is None and mode != "create":
            raise StoreError(f"{name}: is an empty database: expected one that Skyglint made")
        if revision is not None and revision not in known:
            raise StoreError(
                f"{name}: was made by a newer version of Skyglint (schema {revision}, this one knows up to "
                f"{known[-1]}): update Skyglint to open it"
            )
        if revision == known[-1]:
            return
        if mode == "read":
            raise StoreError(
                f"{name}: was made by an older version of Skyglint (schema {revision}, now {known[-1]}): "
                "opening it once for writing, as scan does, brings it up to date"
            )
        with self._writing() as connection:
            upgrade.upgrade(connection)

    def _check_site(self) -> None:
        if self._site_name is None:
            return
        with self._reading() as connection:
            known = sorted({run.site_name for run in reader.read_runs(connection, Selection())})
        if self._site_name not in known:
            raise RequestError(
                f'{shown(self._target)}: no site "{self._site_name}": it has {", ".join(known) or "none"}'
            )

    @contextmanager
    def _reading(self) -> Iterator[sa.Connection]:
        with translated(self._target), self._engine.connect() as connection:
            yield connection

    @contextmanager
    def _writing(self) -> Iterator[sa.Connection]:
        with translated(self._target), self._engine.execution_options(immediate=True).begin() as connection:
            yield connection

    # Writing

    def begin_run(
        self, site_name: str, site_file: str, command: str, parameters: Mapping[str, Any], created_unix: float
    ) -> int:
        """Note where the results to come are from, and return the run's number; it shows once it wrote some.

        Parameters
        ----------
        site_name, site_file
            Name of the site, and the whole text of its site file.
        command, parameters
            The command as given and its settings, which must be fit for JSON.
        created_unix
            Now.
        """
        with self._writing() as connection:
            made = connection.execute(
                schema.runs.insert().values(
                    site_name=site_name,
                    site_file=site_file,
                    version=skyglint.__version__,
                    command=command,
                    parameters=dict(parameters),
                    created_unix=created_unix,
                )
            ).inserted_primary_key
        assert made is not None  # one row was inserted
        return int(made[0])

    @contextmanager
    def recording(
        self, run_id: int, info: SourceInfo, channels: Sequence[Channel], live: bool = False
    ) -> Iterator[RecordingWriter]:
        """Store the results of one recording in one transaction: whole at the end of the ``with``, or not at all.

        Results of an earlier scan of the same recording (same fingerprint and site) are replaced; the operator's
        verdicts and tags move to the new echoes. With ``live`` the recording grows by ``RecordingWriter.commit``, and
        an exception loses only what came after the last one.
        """
        with open_spool(None if is_url(self._target) else Path(self._target).absolute().parent) as spool:
            writer = RecordingWriter(self._writing, run_id, info, channels, live, spool)
            yield writer
            writer.finish()

    def give_verdict(self, echo_id: int, verdict: Verdict | None) -> None:
        """Put the operator's verdict beside an echo, in place of any earlier one; None takes it back.

        Raises
        ------
        RequestError
            If there is no such echo.
        """
        with self._writing() as connection:
            give_verdict(connection, echo_id, verdict)

    def keep_pictures_within(self, most_bytes: float, carrier_less_db: float) -> int:
        """Drop pictures until at most so many bytes are left, the weakest of the older half first.

        Parameters
        ----------
        most_bytes
            Of all pictures together.
        carrier_less_db
            By how much a carrier's peak, which is referred to 1 Hz, is lowered before it is compared with others.

        Returns
        -------
        int
            The bytes that are left.
        """
        with self._reading() as connection:
            used = picture_bytes(connection)
        while used > most_bytes:
            with self._writing() as connection:
                freed = drop_weakest(connection, used - most_bytes, carrier_less_db)
            if not freed:
                break
            used -= freed
        return used

    def tag_echo(self, echo_id: int, tag: Tag) -> None:
        """Note something else that belongs to an echo, in place of a tag of the same kind and name."""
        with self._writing() as connection:
            tag_echo(connection, echo_id, tag)

    def retag(
        self, echo_ids: Collection[int], kind: str, names: Collection[str], found: Iterable[tuple[int, Tag]]
    ) -> None:
        """Replace all tags of a kind and of some names on some echoes by those found now, in one transaction."""
        with self._writing() as connection:
            retag(connection, echo_ids, kind, names, found)

    # Reading: all spans of time are half-open, in POSIX seconds.

    def require_channels(self, names: Sequence[str] | None) -> None:
        """Refuse a channel that the database does not have, before any work is done for it.

        Raises
        ------
        RequestError
            If there is no channel of a name.
        """
        known = [channel.name for channel in self.channels()] if names else []
        for unknown in (name for name in names or () if name not in known):
            raise RequestError(f'{shown(self._target)}: no channel "{unknown}": it has {", ".join(known) or "none"}')

    def _select(
        self, start_unix: float = -math.inf, end_unix: float = math.inf, channels: Sequence[str] | None = None
    ) -> Selection:
        self.require_channels(channels)
        return Selection(start_unix, end_unix, channels, self._site_name)

    def runs(self) -> list[Run]:
        """Return the runs that wrote results, oldest first."""
        selection = self._select()
        with self._reading() as connection:
            return reader.read_runs(connection, selection)

    def recordings(self, start_unix: float = -math.inf, end_unix: float = math.inf) -> list[Recording]:
        """Return the recordings that share time with the span, by start."""
        selection = self._select(start_unix, end_unix)
        with self._reading() as connection:
            return reader.read_recordings(connection, selection)

    def channels(self) -> list[Channel]:
        """Return the channels as last declared under each name, in the order of the site file."""
        selection = self._select()
        with self._reading() as connection:
            return reader.read_channels(connection, selection)

    def span(self) -> tuple[float, float] | None:
        """Return the start of the first and the end of the last span of coverage; None where there is none."""
        selection = self._select()
        with self._reading() as connection:
            return reader.read_span(connection, selection)

    def coverage(
        self, start_unix: float = -math.inf, end_unix: float = math.inf, channels: Sequence[str] | None = None
    ) -> list[CoverageSpan]:
        """Return the spans of coverage that share time with the span, whole, by start.

        Spans of recordings that overlap each other overlap too; ``activity.coverage`` makes unions of them.
        """
        selection = self._select(start_unix, end_unix, channels)
        with self._reading() as connection:
            return reader.read_coverage(connection, selection)

    def echoes(
        self, start_unix: float = -math.inf, end_unix: float = math.inf, channels: Sequence[str] | None = None
    ) -> list[StoredEcho]:
        """Return the echoes that start within the span, by start; pictures are read one by one (``snippet``)."""
        selection = self._select(start_unix, end_unix, channels)
        with self._reading() as connection:
            return reader.read_echoes(connection, selection)

    def echo(self, echo_id: int) -> StoredEcho | None:
        """Return one echo, or None where there is none of this number."""
        with self._reading() as connection:
            return reader.read_echo(connection, echo_id)

    def snippet(self, echo_id: int) -> Snippet | None:
        """Return the picture of an echo, or None where none was kept."""
        with self._reading() as connection:
            return reader.read_snippet(connection, echo_id)

    def strips(
        self,
        start_unix: float = -math.inf,
        end_unix: float = math.inf,
        channels: Sequence[str] | None = None,
        readings: int | None = None,
    ) -> list[Strip]:
        """Return each channel's power over its floor on one even grid over the span; empty where none is stored.

        Parameters
        ----------
        start_unix, end_unix
            Span of the grid; where open, it reaches over what is stored.
        channels
            Names; None for all.
        readings
            Most steps of the grid, each with the largest reading within it; None for the steps that were stored.
        """
        selection = self._select(start_unix, end_unix, channels)
        with self._reading() as connection:
            return reader.read_strips(connection, selection, readings)

    def floors(
        self, start_unix: float = -math.inf, end_unix: float = math.inf, channels: Sequence[str] | None = None
    ) -> list[FloorHistory]:
        """Return each channel's floor readings that start within the span."""
        selection = self._select(start_unix, end_unix, channels)
        with self._reading() as connection:
            return reader.read_floors(connection, selection)
