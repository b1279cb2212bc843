"""Photographed sheets."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.migrations.kinds import count, refers, truth, whole, words

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

# What the journal's earlier entries are read as where they do not name the column.
NEW_COLUMNS = {"windows": "[]", "target": "", "evidence": "{}"}


def upgrade() -> None:
    """Make the change."""
    op.create_table(
        "photo_targets",
        sa.Column("id", words(), nullable=False),
        sa.Column("shop_id", words(), nullable=False),
        sa.Column("author_id", words(), nullable=False),
        sa.Column("observed_at", words(), nullable=False),
        sa.Column("received_at", words(), nullable=False),
        sa.Column("corrects", words(), nullable=True),
        sa.Column("revision", whole(), nullable=False),
        sa.Column("reason", words(), nullable=True),
        sa.Column("withdrawn", truth(), nullable=False),
        sa.Column("name", words(), nullable=False),
        sa.Column("target", words(), nullable=False),
        sa.Column("values", words(), nullable=False),
        sa.Column("print_code", words(), nullable=True),
        sa.Column("measured_at", words(), nullable=True),
        sa.Column("instrument_id", words(), nullable=True),
        sa.Column("note", words(), nullable=False),
        sa.Column("position", count(), nullable=False),
        sa.Column("ordinal", count(), nullable=False),
        refers("photo_targets", "author_id", "people"),
        refers("photo_targets", "corrects", "photo_targets"),
        refers("photo_targets", "instrument_id", "instruments"),
        refers("photo_targets", "shop_id", "shops"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photo_targets")),
    )
    op.create_index(
        "uq_photo_targets_corrects_revision",
        "photo_targets",
        ["corrects", "revision"],
        unique=True,
        sqlite_where=sa.text("corrects IS NOT NULL"),
        postgresql_where=sa.text("corrects IS NOT NULL"),
    )
    with op.batch_alter_table("frames") as frames:
        for name, held in NEW_COLUMNS.items():
            frames.add_column(sa.Column(name, words(), nullable=False, server_default=held))
        frames.add_column(sa.Column("photo_target_id", words(), nullable=True))
        frames.create_foreign_key(
            op.f("fk_frames_photo_target_id"),
            "photo_targets",
            ["photo_target_id"],
            ["id"],
            initially="IMMEDIATE",
            deferrable=True,
        )
    with op.batch_alter_table("frames") as frames:
        for name in NEW_COLUMNS:
            frames.alter_column(name, server_default=None)


def downgrade() -> None:
    """There is no way back: a restore of the backup from before is."""
    raise NotImplementedError("restore the backup made before the migration")
