"""The tables. Types are those that SQLite and PostgreSQL share; times are POSIX seconds; NULL means "not measured".

A change here needs a migration in ``migrations/versions``; a test compares the two.
"""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

metadata = sa.MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


def _parent(column: str, **options: Any) -> sa.Column[int]:
    """Return a column that refers to another table's row and disappears with it."""
    table = column.removesuffix("_id")
    parent = {"echo": "echoes"}.get(table, f"{table}s")
    return sa.Column(column, sa.Integer, sa.ForeignKey(f"{parent}.id", ondelete="CASCADE"), **options)


runs = sa.Table(
    "runs",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("site_name", sa.Text, nullable=False),
    sa.Column("site_file", sa.Text, nullable=False),
    sa.Column("version", sa.Text, nullable=False),
    sa.Column("command", sa.Text, nullable=False),
    sa.Column("parameters", sa.JSON, nullable=False),
    sa.Column("created_unix", sa.Double, nullable=False),
    sqlite_autoincrement=True,
)

recordings = sa.Table(
    "recordings",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    _parent("run_id", nullable=False, index=True),
    sa.Column("site_name", sa.Text, nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    # NULL for a live receiver: such stretches are never the same recording again.
    sa.Column("fingerprint", sa.Text),
    sa.Column("encoding", sa.Text, nullable=False),
    sa.Column("sample_rate_hz", sa.Double, nullable=False),
    sa.Column("center_frequency_hz", sa.Double, nullable=False),
    sa.Column("start_unix", sa.Double, nullable=False, index=True),
    sa.Column("end_unix", sa.Double),
    sa.Column("samples", sa.BigInteger, nullable=False),
    sa.Column("clipped_share", sa.Double),
    sa.UniqueConstraint("site_name", "fingerprint"),
    sqlite_autoincrement=True,
)

# A channel is its whole declaration: the same name on another frequency is another row.
channels = sa.Table(
    "channels",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    sa.Column("site_name", sa.Text, nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("declaration", sa.Text, nullable=False),
    # The latest run that declared it, and its place in that site file. No foreign key: runs come and go.
    sa.Column("last_run_id", sa.Integer, nullable=False),
    sa.Column("position", sa.Integer, nullable=False),
    sa.UniqueConstraint("site_name", "name", "declaration"),
)

coverage = sa.Table(
    "coverage",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    _parent("recording_id", nullable=False, index=True),
    _parent("channel_id", nullable=False),
    sa.Column("start_unix", sa.Double, nullable=False),
    sa.Column("end_unix", sa.Double, nullable=False),
    sa.Column("state", sa.Text, nullable=False),
    sa.Column("reason", sa.Text, nullable=False),
    sa.CheckConstraint("state IN ('watched', 'lost')", name="state"),
    sa.CheckConstraint("end_unix >= start_unix", name="order"),
    sa.Index(None, "channel_id", "start_unix"),
)

echoes = sa.Table(
    "echoes",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    _parent("recording_id", nullable=False, index=True),
    _parent("channel_id", nullable=False),
    sa.Column("start_unix", sa.Double, nullable=False, index=True),
    sa.Column("duration_s", sa.Double, nullable=False),
    sa.Column("peak_unix", sa.Double, nullable=False),
    sa.Column("peak_snr_db", sa.Double),
    sa.Column("energy_snr_s", sa.Double),
    sa.Column("echo_class", sa.Text, nullable=False),
    sa.Column("class_probability", sa.Double),
    sa.Column("reason", sa.Text, nullable=False),
    sa.Column("decay_time_s", sa.Double),
    sa.Column("decay_time_sd_s", sa.Double),
    sa.Column("doppler_hz", sa.Double),
    sa.Column("doppler_sd_hz", sa.Double),
    sa.Column("doppler_rate_hz_s", sa.Double),
    sa.Column("height_km", sa.Double),
    sa.Column("height_sd_km", sa.Double),
    sa.Column("rds_pi", sa.Text, nullable=False),
    sa.Column("flags", sa.Text, nullable=False),
    sa.Column("details", sa.JSON, nullable=False),
    sa.Index(None, "channel_id", "start_unix"),
    sqlite_autoincrement=True,
)

# The pictures stand apart from the echoes, so that retention can drop them and never touch a table.
snippets = sa.Table(
    "snippets",
    metadata,
    _parent("echo_id", primary_key=True),
    sa.Column("start_unix", sa.Double, nullable=False),
    sa.Column("step_s", sa.Double, nullable=False),
    sa.Column("n_times", sa.Integer, nullable=False),
    sa.Column("n_offsets", sa.Integer, nullable=False),
    sa.Column("power_low_db", sa.Double, nullable=False),
    sa.Column("power_step_db", sa.Double, nullable=False),
    sa.Column("spectrogram_low_db", sa.Double, nullable=False),
    sa.Column("spectrogram_step_db", sa.Double, nullable=False),
    sa.Column("power", sa.LargeBinary, nullable=False),
    sa.Column("offsets", sa.LargeBinary, nullable=False),
    sa.Column("spectrogram", sa.LargeBinary, nullable=False),
)

# What else is known to belong to an echo, such as a satellite that passed.
tags = sa.Table(
    "tags",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    _parent("echo_id", nullable=False),
    sa.Column("kind", sa.Text, nullable=False),
    sa.Column("name", sa.Text, nullable=False),
    sa.Column("details", sa.JSON, nullable=False),
    sa.UniqueConstraint("echo_id", "kind", "name"),
)

# A verdict keeps the span that was judged: when a recording is scanned again it finds the new echo there.
verdicts = sa.Table(
    "verdicts",
    metadata,
    sa.Column("id", sa.Integer, primary_key=True),
    _parent("channel_id", nullable=False),
    sa.Column("echo_id", sa.Integer, sa.ForeignKey("echoes.id", ondelete="SET NULL"), unique=True),
    sa.Column("start_unix", sa.Double, nullable=False),
    sa.Column("end_unix", sa.Double, nullable=False),
    sa.Column("echo_class", sa.Text, nullable=False),
    sa.Column("author", sa.Text, nullable=False),
    sa.Column("remark", sa.Text, nullable=False),
    sa.Column("created_unix", sa.Double, nullable=False),
    sa.Index(None, "channel_id", "start_unix"),
)


def _series(name: str) -> sa.Table:
    """Return a table of evenly spaced readings of a channel, many readings packed into one row."""
    return sa.Table(
        name,
        metadata,
        sa.Column("id", sa.Integer, primary_key=True),
        _parent("recording_id", nullable=False, index=True),
        _parent("channel_id", nullable=False),
        sa.Column("start_unix", sa.Double, nullable=False),
        sa.Column("end_unix", sa.Double, nullable=False),
        sa.Column("step_s", sa.Double, nullable=False),
        sa.Column("data", sa.LargeBinary, nullable=False),
        sa.Index(None, "channel_id", "start_unix"),
    )


floors = _series("floors")
strips = _series("strips")
