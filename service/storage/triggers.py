"""Triggers that refuse to change or remove what was written, on both engines.

A migration drops them first and makes them again at its end, for every table of the record, so
that no migration can leave one out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

_REFUSAL = "the record is append-only: write a correction instead"
_FUNCTION = "refuse_change"


def making(tables: Sequence[str], *, postgresql: bool) -> Iterator[str]:
    """Statements that make the triggers."""
    if postgresql:
        yield (
            f"CREATE OR REPLACE FUNCTION {_FUNCTION}() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION USING MESSAGE = TG_TABLE_NAME || ': {_REFUSAL}', "
            "ERRCODE = 'restrict_violation'; END $$"
        )
    for table in tables:
        if postgresql:
            yield (
                f'CREATE TRIGGER append_only BEFORE UPDATE OR DELETE ON "{table}" '
                f"FOR EACH ROW EXECUTE FUNCTION {_FUNCTION}()"
            )
            yield (
                f'CREATE TRIGGER never_emptied BEFORE TRUNCATE ON "{table}" '
                f"FOR EACH STATEMENT EXECUTE FUNCTION {_FUNCTION}()"
            )
            continue
        for doing in ("update", "delete"):
            yield (
                f'CREATE TRIGGER "{table}_no_{doing}" BEFORE {doing.upper()} ON "{table}" '
                f"BEGIN SELECT RAISE(ABORT, '{table}: {_REFUSAL}'); END"
            )


def dropping(tables: Sequence[str], *, postgresql: bool) -> Iterator[str]:
    """Statements that drop the triggers of these tables, as far as they are there."""
    for table in tables:
        if postgresql:
            yield f'DROP TRIGGER IF EXISTS append_only ON "{table}"'
            yield f'DROP TRIGGER IF EXISTS never_emptied ON "{table}"'
        else:
            yield f'DROP TRIGGER IF EXISTS "{table}_no_update"'
            yield f'DROP TRIGGER IF EXISTS "{table}_no_delete"'
