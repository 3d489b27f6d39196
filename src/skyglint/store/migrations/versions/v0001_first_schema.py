"""The first schema."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Create all tables."""
    op.create_table(
        "channels",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_name", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("declaration", sa.Text(), nullable=False),
        sa.Column("last_run_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_channels")),
        sa.UniqueConstraint("site_name", "name", "declaration", name=op.f("uq_channels_site_name_name_declaration")),
    )
    op.create_table(
        "runs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("site_name", sa.Text(), nullable=False),
        sa.Column("site_file", sa.Text(), nullable=False),
        sa.Column("version", sa.Text(), nullable=False),
        sa.Column("command", sa.Text(), nullable=False),
        sa.Column("parameters", sa.JSON(), nullable=False),
        sa.Column("created_unix", sa.Double(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_runs")),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "recordings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("site_name", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("fingerprint", sa.Text(), nullable=True),
        sa.Column("encoding", sa.Text(), nullable=False),
        sa.Column("sample_rate_hz", sa.Double(), nullable=False),
        sa.Column("center_frequency_hz", sa.Double(), nullable=False),
        sa.Column("start_unix", sa.Double(), nullable=False),
        sa.Column("end_unix", sa.Double(), nullable=True),
        sa.Column("samples", sa.BigInteger(), nullable=False),
        sa.Column("clipped_share", sa.Double(), nullable=True),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name=op.f("fk_recordings_run_id_runs"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recordings")),
        sa.UniqueConstraint("site_name", "fingerprint", name=op.f("uq_recordings_site_name_fingerprint")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_recordings_run_id"), "recordings", ["run_id"], unique=False)
    op.create_index(op.f("ix_recordings_start_unix"), "recordings", ["start_unix"], unique=False)
    op.create_table(
        "coverage",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recording_id", sa.Integer(), nullable=False),
        sa.Column("channel_id", sa.Integer(), nullable=False),
        sa.Column("start_unix", sa.Double(), nullable=False),
        sa.Column("end_unix", sa.Double(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.CheckConstraint("state IN ('watched', 'lost')", name=op.f("ck_coverage_state")),
        sa.CheckConstraint("end_unix >= start_unix", name=op.f("ck_coverage_order")),
        sa.ForeignKeyConstraint(
            ["channel_id"], ["channels.id"], name=op.f("fk_coverage_channel_id_channels"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["recording_id"], ["recordings.id"], name=op.f("fk_coverage_recording_id_recordings"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_coverage")),
    )
    op.create_index(op.f("ix_coverage_channel_id_start_unix"), "coverage", ["channel_id", "start_unix"], unique=False)
    op.create_index(op.f("ix_coverage_recording_id"), "coverage", ["recording_id"], unique=False)
    op.create_table(
        "echoes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recording_id", sa.Integer(), nullable=False),
        sa.Column("channel_id", sa.Integer(), nullable=False),
        sa.Column("start_unix", sa.Double(), nullable=False),
        sa.Column("duration_s", sa.Double(), nullable=False),
        sa.Column("peak_unix", sa.Double(), nullable=False),
        sa.Column("peak_snr_db", sa.Double(), nullable=True),
        sa.Column("energy_snr_s", sa.Double(), nullable=True),
        sa.Column("echo_class", sa.Text(), nullable=False),
        sa.Column("class_probability", sa.Double(), nullable=True),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("decay_time_s", sa.Double(), nullable=True),
        sa.Column("decay_time_sd_s", sa.Double(), nullable=True),
        sa.Column("doppler_hz", sa.Double(), nullable=True),
        sa.Column("doppler_sd_hz", sa.Double(), nullable=True),
        sa.Column("doppler_rate_hz_s", sa.Double(), nullable=True),
        sa.Column("height_km", sa.Double(), nullable=True),
        sa.Column("height_sd_km", sa.Double(), nullable=True),
        sa.Column("rds_pi", sa.Text(), nullable=False),
        sa.Column("flags", sa.Text(), nullable=False),
        sa.Column("details", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["channel_id"], ["channels.id"], name=op.f("fk_echoes_channel_id_channels"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["recording_id"], ["recordings.id"], name=op.f("fk_echoes_recording_id_recordings"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_echoes")),
        sqlite_autoincrement=True,
    )
    op.create_index(op.f("ix_echoes_channel_id_start_unix"), "echoes", ["channel_id", "start_unix"], unique=False)
    op.create_index(op.f("ix_echoes_recording_id"), "echoes", ["recording_id"], unique=False)
    op.create_index(op.f("ix_echoes_start_unix"), "echoes", ["start_unix"], unique=False)
    op.create_table(
        "floors",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recording_id", sa.Integer(), nullable=False),
        sa.Column("channel_id", sa.Integer(), nullable=False),
        sa.Column("start_unix", sa.Double(), nullable=False),
        sa.Column("end_unix", sa.Double(), nullable=False),
        sa.Column("step_s", sa.Double(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["channel_id"], ["channels.id"], name=op.f("fk_floors_channel_id_channels"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["recording_id"], ["recordings.id"], name=op.f("fk_floors_recording_id_recordings"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_floors")),
    )
    op.create_index(op.f("ix_floors_channel_id_start_unix"), "floors", ["channel_id", "start_unix"], unique=False)
    op.create_index(op.f("ix_floors_recording_id"), "floors", ["recording_id"], unique=False)
    op.create_table(
        "strips",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recording_id", sa.Integer(), nullable=False),
        sa.Column("channel_id", sa.Integer(), nullable=False),
        sa.Column("start_unix", sa.Double(), nullable=False),
        sa.Column("end_unix", sa.Double(), nullable=False),
        sa.Column("step_s", sa.Double(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["channel_id"], ["channels.id"], name=op.f("fk_strips_channel_id_channels"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["recording_id"], ["recordings.id"], name=op.f("fk_strips_recording_id_recordings"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_strips")),
    )
    op.create_index(op.f("ix_strips_channel_id_start_unix"), "strips", ["channel_id", "start_unix"], unique=False)
    op.create_index(op.f("ix_strips_recording_id"), "strips", ["recording_id"], unique=False)
    op.create_table(
        "snippets",
        sa.Column("echo_id", sa.Integer(), nullable=False),
        sa.Column("start_unix", sa.Double(), nullable=False),
        sa.Column("step_s", sa.Double(), nullable=False),
        sa.Column("n_times", sa.Integer(), nullable=False),
        sa.Column("n_offsets", sa.Integer(), nullable=False),
        sa.Column("power_low_db", sa.Double(), nullable=False),
        sa.Column("power_step_db", sa.Double(), nullable=False),
        sa.Column("spectrogram_low_db", sa.Double(), nullable=False),
        sa.Column("spectrogram_step_db", sa.Double(), nullable=False),
        sa.Column("power", sa.LargeBinary(), nullable=False),
        sa.Column("offsets", sa.LargeBinary(), nullable=False),
        sa.Column("spectrogram", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["echo_id"], ["echoes.id"], name=op.f("fk_snippets_echo_id_echoes"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("echo_id", name=op.f("pk_snippets")),
    )
    op.create_table(
        "tags",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("echo_id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("details", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(["echo_id"], ["echoes.id"], name=op.f("fk_tags_echo_id_echoes"), ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tags")),
        sa.UniqueConstraint("echo_id", "kind", "name", name=op.f("uq_tags_echo_id_kind_name")),
    )
    op.create_table(
        "verdicts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("channel_id", sa.Integer(), nullable=False),
        sa.Column("echo_id", sa.Integer(), nullable=True),
        sa.Column("start_unix", sa.Double(), nullable=False),
        sa.Column("end_unix", sa.Double(), nullable=False),
        sa.Column("echo_class", sa.Text(), nullable=False),
        sa.Column("author", sa.Text(), nullable=False),
        sa.Column("remark", sa.Text(), nullable=False),
        sa.Column("created_unix", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["channel_id"], ["channels.id"], name=op.f("fk_verdicts_channel_id_channels"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(
            ["echo_id"], ["echoes.id"], name=op.f("fk_verdicts_echo_id_echoes"), ondelete="SET NULL"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_verdicts")),
        sa.UniqueConstraint("echo_id", name=op.f("uq_verdicts_echo_id")),
    )
    op.create_index(op.f("ix_verdicts_channel_id_start_unix"), "verdicts", ["channel_id", "start_unix"], unique=False)
