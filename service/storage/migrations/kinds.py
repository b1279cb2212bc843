"""The kinds of columns and references as the migrations name them."""

from __future__ import annotations

from sqlalchemy import BigInteger, Boolean, Double, ForeignKeyConstraint, Integer, Text


def words() -> Text:
    """Text, compared byte by byte on both engines."""
    return Text().with_variant(Text(collation="C"), "postgresql")


def whole() -> BigInteger:
    """A whole number of a record."""
    return BigInteger()


def count() -> Integer:
    """A whole number of the storage itself: a place, a count."""
    return Integer()


def real() -> Double[float]:
    """A double."""
    return Double()


def truth() -> Boolean:
    """Yes or no."""
    return Boolean()


def refers(table: str, column: str, parent: str) -> ForeignKeyConstraint:
    """A reference to the first row of what the column names.

    Deferrable, so that a restore may replay chain by chain.
    """
    return ForeignKeyConstraint(
        [column],
        [f"{parent}.id"],
        name=f"fk_{table}_{column}",
        deferrable=True,
        initially="IMMEDIATE",
    )


def rendered(kind: str, item: object) -> str | None:
    """How a migration writes a type or a reference; None leaves it to alembic."""
    if kind == "type":
        for known, name in (
            (BigInteger, "whole()"),
            (Integer, "count()"),
            (Double, "real()"),
            (Boolean, "truth()"),
            (Text, "words()"),
        ):
            if isinstance(item, known):
                return name
    if kind == "foreign_key" and isinstance(item, ForeignKeyConstraint):
        (element,) = item.elements
        table, column = item.table.name, element.parent.name
        return f'refers("{table}", "{column}", "{element.column.table.name}")'
    return None
