"""Spectra, check tiles, and when a card was read last."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.migrations.kinds import count, real, refers, truth, whole, words

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

# What the journal's earlier entries are read as where they do not name the column.
NEW_COLUMNS = (
    ("policies", "angle_limits", "{}"),
    ("policies", "lights", '["A","F11","LED-B3"]'),
    ("readings", "spectra", "[]"),
)


def upgrade() -> None:
    """Make the change."""
    op.create_table(
        "check_tiles",
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
        sa.Column("serial", words(), nullable=False),
        sa.Column("note", words(), nullable=False),
        sa.Column("position", count(), nullable=False),
        sa.Column("ordinal", count(), nullable=False),
        refers("check_tiles", "author_id", "people"),
        refers("check_tiles", "corrects", "check_tiles"),
        refers("check_tiles", "shop_id", "shops"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_check_tiles")),
    )
    op.create_index(
        "uq_check_tiles_corrects_revision",
        "check_tiles",
        ["corrects", "revision"],
        unique=True,
        sqlite_where=sa.text("corrects IS NOT NULL"),
        postgresql_where=sa.text("corrects IS NOT NULL"),
    )

    op.create_table(
        "tile_readings",
        sa.Column("id", words(), nullable=False),
        sa.Column("shop_id", words(), nullable=False),
        sa.Column("author_id", words(), nullable=False),
        sa.Column("observed_at", words(), nullable=False),
        sa.Column("received_at", words(), nullable=False),
        sa.Column("corrects", words(), nullable=True),
        sa.Column("revision", whole(), nullable=False),
        sa.Column("reason", words(), nullable=True),
        sa.Column("withdrawn", truth(), nullable=False),
        sa.Column("tile_id", words(), nullable=False),
        sa.Column("instrument_id", words(), nullable=False),
        sa.Column("illuminant", words(), nullable=False),
        sa.Column("observer", whole(), nullable=False),
        sa.Column("geometry", words(), nullable=False),
        sa.Column("angles", words(), nullable=False),
        sa.Column("specular", words(), nullable=True),
        sa.Column("surface_temperature_c", real(), nullable=True),
        sa.Column("is_reference", truth(), nullable=False),
        sa.Column("note", words(), nullable=False),
        sa.Column("position", count(), nullable=False),
        sa.Column("ordinal", count(), nullable=False),
        refers("tile_readings", "author_id", "people"),
        refers("tile_readings", "corrects", "tile_readings"),
        refers("tile_readings", "instrument_id", "instruments"),
        refers("tile_readings", "shop_id", "shops"),
        refers("tile_readings", "tile_id", "check_tiles"),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tile_readings")),
    )
    op.create_index(
        "uq_tile_readings_corrects_revision",
        "tile_readings",
        ["corrects", "revision"],
        unique=True,
        sqlite_where=sa.text("corrects IS NOT NULL"),
        postgresql_where=sa.text("corrects IS NOT NULL"),
    )

    with op.batch_alter_table("instruments") as instruments:
        instruments.add_column(sa.Column("inter_instrument_uncertainty", real(), nullable=True))

    with op.batch_alter_table("readings") as readings:
        readings.add_column(sa.Column("inter_instrument_uncertainty", real(), nullable=True))

    for table, name, held in NEW_COLUMNS:
        with op.batch_alter_table(table) as batch:
            batch.add_column(sa.Column(name, words(), nullable=False, server_default=held))
        with op.batch_alter_table(table) as batch:
            batch.alter_column(name, server_default=None)
    op.create_index("ix_readings_card_id_observed_at", "readings", ["card_id", "observed_at"])

    # What they hold of cards that are there already is worked out when the migrations are done.
    with op.batch_alter_table("card_lines") as lines:
        lines.add_column(sa.Column("read_at", words(), nullable=True))
        lines.add_column(sa.Column("moved_by", real(), nullable=True))
        lines.add_column(sa.Column("held_back", words(), nullable=False, server_default=""))
    with op.batch_alter_table("card_lines") as lines:
        lines.alter_column("held_back", server_default=None)
    for name, columns, where in (
        ("ix_card_lines_due", ["shop_id", "held_back", "read_at", "id"], "whereabouts = 'in'"),
        ("ix_card_lines_walk", ["shop_id", "slot", "id", "read_at"], "whereabouts = 'in'"),
        ("ix_card_lines_moved", ["shop_id", "moved_by", "id"], "moved_by IS NOT NULL"),
    ):
        op.create_index(
            name,
            "card_lines",
            columns,
            sqlite_where=sa.text(where),
            postgresql_where=sa.text(where),
        )


def downgrade() -> None:
    """There is no way back: a restore of the backup from before is."""
    raise NotImplementedError("restore the backup made before the migration")
