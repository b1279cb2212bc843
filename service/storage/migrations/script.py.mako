"""${message}."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from service.storage.migrations.kinds import count, real, refers, truth, whole, words

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Make the change."""
    ${upgrades if upgrades else "pass"}


def downgrade() -> None:
    """There is no way back: a restore of the backup from before is."""
    raise NotImplementedError("restore the backup made before the migration")
