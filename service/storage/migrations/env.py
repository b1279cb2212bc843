"""What alembic runs; the connection comes from ``service.storage.migrate``."""

from __future__ import annotations

from typing import Literal

from alembic import context

from service.storage.migrations.kinds import rendered
from service.storage.tables import metadata


def render_item(kind: str, item: object, _context: object) -> str | Literal[False]:
    """Write column types and references in the short way of ``kinds``."""
    return rendered(kind, item) or False


connection = context.config.attributes["connection"]
context.configure(
    connection=connection,
    target_metadata=metadata,
    render_item=render_item,
    # The whole migration is one transaction, also on SQLite, or a kill would leave half of it.
    transactional_ddl=True,
    transaction_per_migration=False,
    # SQLite alters a table only by building it anew; a first schema alters nothing.
    render_as_batch=bool(context.config.attributes.get("batch", True)),
)
context.run_migrations()
