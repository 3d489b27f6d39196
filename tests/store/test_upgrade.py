"""The schema of the code and of the migrations are one, on SQLite and PostgreSQL alike; versions are told apart."""

import io
import shutil
import sqlite3

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.operations import Operations
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from tests.store.conftest import begin, echo, write

from skyglint.errors import StoreError
from skyglint.store import Store, upgrade
from skyglint.store.schema import metadata

NEXT_REVISION = """
import sqlalchemy as sa
from alembic import op

revision = "0999"
down_revision = "{head}"


def upgrade():
    op.add_column("echoes", sa.Column("colour", sa.Text, nullable=False, server_default="grey"))
    {more}
"""


@pytest.fixture
def later_version(tmp_path, monkeypatch):
    """Pretend to be a later version of the program, whose schema has one more migration."""

    def begin_later(more=""):
        folder = tmp_path / "migrations"
        head = upgrade.known_revisions()[-1]
        shutil.copytree(upgrade.MIGRATIONS, folder)
        (folder / "versions" / "v0999_next.py").write_text(NEXT_REVISION.format(head=head, more=more))
        monkeypatch.setattr(upgrade, "MIGRATIONS", folder)

    return begin_later


def test_migrations_lead_to_the_schema_of_the_code(store):
    with store._engine.connect() as connection:
        options = {"version_table": upgrade.VERSION_TABLE, "compare_type": True, "compare_server_default": True}
        assert compare_metadata(MigrationContext.configure(connection, opts=options), metadata) == []


def test_an_upgrade_that_another_program_has_just_done_changes_nothing(store):
    with store._engine.begin() as connection:
        upgrade.upgrade(connection)
        assert upgrade.revision_of(connection) == upgrade.known_revisions()[-1]


def test_migrations_are_numbered_in_their_order():
    script = ScriptDirectory(str(upgrade.MIGRATIONS))
    walked = [revision.revision for revision in script.iterate_revisions("head", "base")]
    assert walked[::-1] == upgrade.known_revisions()


def test_the_migrations_are_postgresql_too():
    statements = io.StringIO()
    context = MigrationContext.configure(dialect_name="postgresql", opts={"as_sql": True, "output_buffer": statements})
    with Operations.context(context):
        for revision in reversed(list(ScriptDirectory(str(upgrade.MIGRATIONS)).iterate_revisions("head", "base"))):
            revision.module.upgrade()
    text = statements.getvalue()
    assert "id SERIAL NOT NULL" in text
    assert "data BYTEA NOT NULL" in text
    assert "start_unix DOUBLE PRECISION NOT NULL" in text


def test_an_older_database_is_brought_up_to_date_when_opened_for_writing(path, later_version):
    with Store.open(path, "create") as store:
        write(store, begin(store), echoes=[echo()])
    later_version()
    with pytest.raises(StoreError, match=r"night\.db: was made by an older version .*schema 0001, now 0999"):
        Store.open(path)
    with Store.open(path, "write") as store:
        assert len(store.echoes()) == 1
    with sqlite3.connect(path) as connection:
        assert connection.execute("SELECT colour FROM echoes").fetchall() == [("grey",)]
    connection.close()
    Store.open(path).close()


def test_a_migration_that_fails_leaves_the_database_as_it_was(path, later_version):
    Store.open(path, "create").close()
    later_version(more='op.drop_table("no_such_table")')
    with pytest.raises(StoreError, match="no such table"):
        Store.open(path, "write")
    with sqlite3.connect(path) as connection:
        columns = [row[1] for row in connection.execute("PRAGMA table_info(echoes)")]
        assert "colour" not in columns
        assert connection.execute("SELECT version_num FROM skyglint_version").fetchall() == [("0001",)]
    connection.close()


def test_a_newer_database_is_refused_in_every_mode(path):
    Store.open(path, "create").close()
    with sqlite3.connect(path) as connection:
        connection.execute("UPDATE skyglint_version SET version_num = '0042'")
    connection.close()
    for mode in ("read", "write", "create"):
        with pytest.raises(StoreError, match=r"newer version .*schema 0042.*: update Skyglint"):
            Store.open(path, mode)


def test_foreign_keys_are_enforced_and_the_journal_is_written_ahead(store):
    with store._engine.connect() as connection:
        settings = [connection.scalar(sa.text(f"PRAGMA {name}")) for name in ("foreign_keys", "journal_mode")]
        assert settings == [1, "wal"]
        assert connection.scalar(sa.text("PRAGMA synchronous")) == 1  # NORMAL
