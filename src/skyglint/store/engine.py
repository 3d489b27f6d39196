"""Connections to the database, and its errors in a person's words."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal
from urllib.parse import quote

import sqlalchemy as sa
from sqlalchemy import event, pool

from skyglint.errors import RequestError, StoreError

Mode = Literal["read", "write", "create"]

_EXPLANATIONS = {
    sqlite3.SQLITE_NOTADB: "is not a database: expected one that Skyglint made",
    sqlite3.SQLITE_CORRUPT: "is damaged: restore a copy, or scan the recordings again into a new database",
    sqlite3.SQLITE_FULL: "the disk is full: what was being written is left out, what was there before is intact",
    sqlite3.SQLITE_BUSY: "another program is writing to it and did not finish in time: try again when it is done",
    sqlite3.SQLITE_LOCKED: "another connection is writing to it: try again when it is done",
    sqlite3.SQLITE_READONLY: "cannot be written: the file or its folder is read-only",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened: no permission for the file or its folder",
    sqlite3.SQLITE_PERM: "cannot be opened: no permission for the file or its folder",
    sqlite3.SQLITE_IOERR: "the disk failed while the database was read or written",
}


def is_url(target: Path | str) -> bool:
    """Tell whether the target is a database server's URL and not a file."""
    return isinstance(target, str) and "://" in target


def shown(target: Path | str) -> str:
    """Return the target as messages name it, without a password."""
    return sa.make_url(str(target)).render_as_string() if is_url(target) else str(target)


@contextmanager
def translated(target: Path | str) -> Iterator[None]:
    """Turn the database library's errors into one `StoreError` that names the database."""
    try:
        yield
    except (sa.exc.DBAPIError, sqlite3.Error) as error:
        cause = error.orig if isinstance(error, sa.exc.DBAPIError) else error
        # The low byte of SQLite's code is the kind of error, the others its details.
        kind = getattr(cause, "sqlite_errorcode", 0) & 0xFF
        explanation = _EXPLANATIONS.get(kind) or str(cause).strip().splitlines()[0]
        raise StoreError(f"{shown(target)}: {explanation}") from error


def check_file(path: Path, mode: Mode) -> None:
    """Refuse a path that cannot be opened in this mode, before any work is done for it.

    Raises
    ------
    RequestError
        If the file or its folder is missing, or it is a folder.
    StoreError
        If there is no permission.
    """
    try:
        _check_file(path, mode)
    except OSError as error:
        raise StoreError(f"{path}: cannot be opened: {error.strerror}") from error


def _check_file(path: Path, mode: Mode) -> None:
    if path.is_dir():
        raise RequestError(f"{path}: is a folder: expected a database file")
    if not path.parent.is_dir():
        raise RequestError(f"{path}: there is no folder {path.parent}")
    if not path.exists() and mode != "create":
        raise RequestError(f"{path}: no such database")
    if mode != "read" and not _may_write(path.parent):
        raise StoreError(f"{path}: its folder is read-only: a database that is written to needs files beside it")
    if mode != "read" and path.exists() and not _may_write(path):
        raise StoreError(f"{path}: cannot be written: the file is read-only")


def _may_write(path: Path) -> bool:
    return os.access(path, os.W_OK, effective_ids=os.access in os.supports_effective_ids)


def make_engine(target: Path | str, mode: Mode, patience_s: float) -> sa.Engine:
    """Return an engine for a database file, or for a server's URL (``postgresql+psycopg://...``).

    A transaction on ``engine.execution_options(immediate=True)`` takes the writer's lock of SQLite at its start, so
    that it waits for another writer there and not half-way.
    """
    if is_url(target):
        try:
            return sa.create_engine(str(target))
        except (ModuleNotFoundError, sa.exc.ArgumentError) as error:
            raise RequestError(f"{shown(target)}: cannot be used as a database: {error}") from error
    path = Path(target).absolute()

    def connect() -> sqlite3.Connection:
        connection = sqlite3.connect(
            f"file:{quote(str(path))}?{_access(path, mode)}",
            uri=True,
            timeout=patience_s,
            isolation_level=None,
            check_same_thread=False,
        )
        connection.execute("PRAGMA foreign_keys = ON")
        if mode != "read":
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = NORMAL")
        return connection

    engine = sa.create_engine("sqlite://", creator=connect, poolclass=pool.QueuePool)

    # Python's sqlite3 begins no transaction before a change of schema; beginning it here makes migrations atomic.
    @event.listens_for(engine, "begin")
    def _begin(connection: sa.Connection) -> None:
        immediate = connection.get_execution_options().get("immediate", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if immediate else "BEGIN")

    return engine


def _access(path: Path, mode: Mode) -> str:
    if mode != "read":
        return "mode=rwc"
    # Even a reader keeps a file beside a database in WAL mode. Where it may not, nobody else writes there either,
    # and the database can be read as it stands.
    beside = path.with_name(path.name + "-wal")
    return "mode=ro" if _may_write(path.parent) or beside.exists() else "mode=ro&immutable=1"
