"""Write the next migration: what the tables have that the migrations so far do not make."""

from __future__ import annotations

import sys


def main(arguments: list[str]) -> int:
    """Write ``versions/NUMBER_words.py``."""
    import sqlite3

    from alembic import command

    from service.storage.migrate import alembic_config, engine_over
    from service.storage.sql import Sql

    if len(arguments) != 2:
        print('Usage: python -m service.storage.migrations.make 0002 "Add a column"')
        return 2
    number, message = arguments
    sql = Sql(sqlite3.connect(":memory:", isolation_level=None), postgresql=False)
    with engine_over(sql).connect() as connection:
        config = alembic_config(connection)
        config.attributes["batch"] = number != "0001"
        command.upgrade(config, "head")
        command.revision(config, message, autogenerate=True, rev_id=number)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
