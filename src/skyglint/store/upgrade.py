"""Bringing a database to the present schema, one numbered migration after the other."""

from __future__ import annotations

from pathlib import Path

import sqlalchemy as sa

#: Where the migrations are; each file in ``versions`` is named ``v<revision>_<what it does>.py``.
MIGRATIONS = Path(__file__).parent / "migrations"

#: The table with the revision that a database has. A database without it is not one of Skyglint's.
VERSION_TABLE = "skyglint_version"


def known_revisions() -> list[str]:
    """Return the revisions that this version of Skyglint knows, oldest first."""
    return sorted(path.stem.split("_")[0].removeprefix("v") for path in (MIGRATIONS / "versions").glob("v*.py"))


def revision_of(connection: sa.Connection) -> str | None:
    """Return the database's revision, or None where there is no such record."""
    if not sa.inspect(connection).has_table(VERSION_TABLE):
        return None
    revision: str | None = connection.scalar(sa.text(f"SELECT version_num FROM {VERSION_TABLE}"))
    return revision


def upgrade(connection: sa.Connection) -> None:
    """Run the migrations that the database lacks, within the connection's transaction."""
    # Alembic takes a tenth of a second to import, and a database that is up to date does not need it.
    from alembic.operations import Operations
    from alembic.runtime.migration import MigrationContext
    from alembic.script import ScriptDirectory

    context = MigrationContext.configure(connection, opts={"version_table": VERSION_TABLE})
    script = ScriptDirectory(str(MIGRATIONS))
    pending = list(script.iterate_revisions("head", context.get_current_revision() or "base"))
    with Operations.context(context):
        for revision in reversed(pending):
            revision.module.upgrade()
            context.stamp(script, revision.revision)
