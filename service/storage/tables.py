"""The tables as SQLAlchemy sees them: for migrations, for queries, and for who reads on.

Import this only where it is used: SQLAlchemy takes a quarter of a second, and opening a store
or writing to it needs none of it.
"""

from __future__ import annotations

from typing import Any

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Double,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
    UniqueConstraint,
    text,
)
from sqlalchemy.types import TypeEngine

from service.storage.codec import BOOLEAN, DOUBLE, INTEGER, JSON, TEXT, Codec, codec_of
from service.storage.schema import LINE_CODECS, PLACE, RECORDS, parent_of

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
    }
)

# SQLite compares text byte by byte; so does PostgreSQL with this collation, whatever language
# its cluster was made for. A page of a list then starts and ends at the same row on both.
Words = Text().with_variant(Text(collation="C"), "postgresql")
KINDS: dict[str, TypeEngine[Any]] = {
    TEXT: Words,
    INTEGER: BigInteger(),
    DOUBLE: Double(),
    BOOLEAN: Boolean(),
    JSON: Words,
}


def _columns(codec: Codec[Any]) -> list[Column[Any]]:
    return [Column(c.name, KINDS[c.kind], nullable=c.nullable) for c in codec.columns]


def _first_rows(name: str, table: Table, column: str) -> None:
    """One thing under a name in a shop; the names its corrections gave it are found too."""
    shop_id, named, revision = table.c.shop_id, table.c[column], table.c.revision
    Index(
        f"uq_{name}_{column}",
        shop_id,
        named,
        unique=True,
        sqlite_where=revision == 1,
        postgresql_where=revision == 1,
    )
    Index(
        f"ix_{name}_{column}_later",
        shop_id,
        named,
        sqlite_where=revision > 1,
        postgresql_where=revision > 1,
    )


for _kind in RECORDS:
    _codec = codec_of(_kind)
    _table = Table(
        _kind.table,
        metadata,
        *_columns(_codec),
        *(Column(name, Integer(), nullable=False) for name in PLACE),
        PrimaryKeyConstraint("id"),
    )
    for _name in _codec.names:
        _parent = parent_of(_kind, _name)
        if _parent is not None:
            # Deferrable, so that a restore may replay chain by chain.
            _key = ForeignKey(f"{_parent}.id", deferrable=True, initially="IMMEDIATE")
            _table.c[_name].append_foreign_key(_key)
    Index(
        f"uq_{_kind.table}_corrects_revision",
        _table.c.corrects,
        _table.c.revision,
        unique=True,
        sqlite_where=_table.c.corrects.is_not(None),
        postgresql_where=_table.c.corrects.is_not(None),
    )

_first_rows("cards", metadata.tables["cards"], "code")
_first_rows("jobs", metadata.tables["jobs"], "work_order")
Index(None, metadata.tables["credentials"].c.person_id)
Index(None, metadata.tables["readings"].c.card_id, metadata.tables["readings"].c.observed_at)
Index(None, metadata.tables["api_tokens"].c.token_hash)

APPEND_ONLY: tuple[str, ...] = (*(kind.table for kind in RECORDS), "journal")

for _line_codec in LINE_CODECS.values():
    Table(
        _line_codec.table,
        metadata,
        *_columns(_line_codec),
        PrimaryKeyConstraint("id"),
    )


def _index(table: str, *columns: str, where: str | None = None, name: str | None = None) -> None:
    only = None if where is None else text(where)
    Index(
        name,
        *(metadata.tables[table].c[column] for column in columns),
        sqlite_where=only,
        postgresql_where=only,
    )


# Lists go newest first, whatever narrows them, so each index ends in time and id and starts with
# what is given exactly. No index holds a text of any length: PostgreSQL takes some 2,700 bytes,
# and a write must not fail for a long note.
_index("job_lines", "shop_id", "opened_at", "id")
_index(
    "job_lines",
    *("shop_id", "opened_at", "id"),
    where="released_at IS NULL",
    name="ix_job_lines_open",
)
_index("card_lines", "shop_id", "sprayed_at", "id")
_index("card_lines", "shop_id", "slot")
_index("card_lines", "shop_id", "painter_id", "sprayed_at", "id")
_index("card_lines", "shop_id", "job_id", "sprayed_at", "id")
_index(
    "card_lines",
    *("shop_id", "whereabouts", "sprayed_at", "id"),
    where="whereabouts <> 'in'",
    name="ix_card_lines_away",
)
_index("card_lines", "shop_id", "conditions", "angle", "l", "a", "b")
# Of the cards in the rack: those due to be read again, by what they are kept for and then the
# oldest, and along the slots for whoever walks past them. Both hold all that is counted.
_index(
    "card_lines",
    *("shop_id", "held_back", "read_at", "id"),
    where="whereabouts = 'in'",
    name="ix_card_lines_due",
)
_index(
    "card_lines",
    *("shop_id", "slot", "id", "read_at"),
    where="whereabouts = 'in'",
    name="ix_card_lines_walk",
)
_index(
    "card_lines",
    *("shop_id", "moved_by", "id"),
    where="moved_by IS NOT NULL",
    name="ix_card_lines_moved",
)
_index("batch_lines", "shop_id", "sprayed_at", "id")
# These two hold all that an audit counts, so that one over everything reads no line.
_index(
    "batch_lines",
    *("shop_id", "job_id", "finish_id", "word", "gap", "accepted", "delta_e_2000"),
    name="ix_batch_lines_of_job",
)
_index(
    "joint_lines",
    *("shop_id", "job_id", "word", "gap", "accepted"),
    name="ix_joint_lines_of_job",
)
_index(
    "batch_lines",
    *("shop_id", "gap", "sprayed_at", "id"),
    where="gap <> ''",
    name="ix_batch_lines_gap",
)

journal = Table(
    "journal",
    metadata,
    Column("chain", Words, nullable=False),
    Column("position", Integer(), nullable=False),
    Column("shop_id", Words, nullable=False),
    Column("change_id", Words, nullable=False),
    Column("kind", Words, nullable=False),
    Column("fingerprint", Words, nullable=False),
    Column("person_id", Words, nullable=False),
    Column("received_at", Words, nullable=False),
    Column("payload", Words, nullable=False),
    Column("hash", Words, nullable=False),
    PrimaryKeyConstraint("chain", "position"),
    UniqueConstraint("shop_id", "change_id"),
)

heads = Table(
    "heads",
    metadata,
    Column("chain", Words, nullable=False),
    Column("shop_id", Words, nullable=False),
    Column("position", Integer(), nullable=False),
    Column("hash", Words, nullable=False),
    Column("checkpointed", Integer(), nullable=False, server_default=text("0")),
    PrimaryKeyConstraint("chain"),
)

sessions = Table(
    "sessions",
    metadata,
    Column("token_digest", Words, nullable=False),
    Column("shop_id", Words, nullable=False),
    Column("person_id", Words, nullable=False),
    Column("started_at", Words, nullable=False),
    Column("seen_at", Words, nullable=False),
    Column("idle_seconds", Integer(), nullable=False),
    Column("ends_at", Words, nullable=False),
    Column("revoked_at", Words, nullable=True),
    PrimaryKeyConstraint("token_digest"),
)
Index(None, sessions.c.shop_id, sessions.c.person_id)

sign_in_attempts = Table(
    "sign_in_attempts",
    metadata,
    Column("shop_id", Words, nullable=False),
    Column("subject", Words, nullable=False),
    Column("failures", Integer(), nullable=False),
    Column("last_at", Words, nullable=False),
    Column("wait_until", Words, nullable=False),
    PrimaryKeyConstraint("shop_id", "subject"),
)
