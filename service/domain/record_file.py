"""All current records of one chain, as a value: a job's file, or the shop's own.

A file never changes: ``with_records`` gives a new one that shares what is untouched, so a
reader may keep the file it has while a writer goes on, and a refused change leaves no trace.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, Self, TypeVar, cast

from service.domain.records.base import Record
from service.domain.refused import Unknown

R = TypeVar("R", bound=Record)
T = TypeVar("T")

Latest = Mapping[type[Record], Mapping[str, Record]]
Index = Mapping[Any, tuple[str, ...]]


class RecordFile:
    """The newest revision of each record of one chain, found by id or by any one field."""

    __slots__ = ("chain", "_latest", "_indexes", "_made")

    def __init__(self, chain: str, latest: Latest | None = None) -> None:
        self.chain = chain
        self._latest: Latest = latest or {}
        self._indexes: dict[tuple[type[Record], str], Index] = {}
        self._made: dict[Callable[[RecordFile], Any], Any] = {}

    def all(self, kind: type[R]) -> list[R]:
        """Every record of the kind that is not withdrawn, in order of arrival."""
        found = self._latest.get(kind, {})
        return [cast(R, record) for record in found.values() if not record.withdrawn]

    def find(self, kind: type[R], id: str | None) -> R | None:
        """The record with that (root) id, or None when there is none or it is withdrawn."""
        found = self._latest.get(kind, {}).get(id or "")
        return None if found is None or found.withdrawn else cast(R, found)

    def get(self, kind: type[R], id: str) -> R:
        """The record with that (root) id; refuses when there is none."""
        found = self.find(kind, id)
        if found is None:
            raise Unknown(kind.__name__.lower(), id)
        return found

    def latest_revision(self, kind: type[R], id: str) -> R | None:
        """The newest row of a thing, also when it is withdrawn."""
        return cast(R | None, self._latest.get(kind, {}).get(id))

    def by(self, kind: type[R], field: str, value: object) -> list[R]:
        """Records of the kind whose field holds the value, in order of arrival."""
        index = self._indexes.get((kind, field))
        if index is None:
            index = _index(self._latest.get(kind, {}), field)
            # Two readers may build the same index at once; both give the same value.
            self._indexes[kind, field] = index
        rows = self._latest.get(kind, {})
        return [cast(R, rows[id]) for id in index.get(value, ())]

    def once(self, make: Callable[[RecordFile], T]) -> T:
        """What a function makes of this file, worked out at the first asking.

        A file never changes, so neither does what follows from it; the next file starts anew.
        """
        if make not in self._made:
            # Two readers may work it out at once; both come to the same.
            self._made[make] = make(self)
        return cast(T, self._made[make])

    def with_records(self, records: Iterable[Record]) -> Self:
        """The file after these rows; corrections take the place of what they correct."""
        touched: dict[type[Record], dict[str, Record]] = {}
        indexes = dict(self._indexes)
        for record in records:
            kind = type(record)
            if kind not in touched:
                touched[kind] = dict(self._latest.get(kind, {}))
            earlier = touched[kind].get(record.root)
            touched[kind][record.root] = record
            for key in [key for key in indexes if key[0] is kind]:
                if earlier is not None or record.withdrawn:
                    del indexes[key]
                else:
                    value = getattr(record, key[1])
                    index = dict(indexes[key])
                    index[value] = (*index.get(value, ()), record.root)
                    indexes[key] = index
        file = type(self)(self.chain, {**self._latest, **touched})
        file._indexes = indexes
        return file


def _index(rows: Mapping[str, Record], field: str) -> Index:
    index: dict[Any, list[str]] = {}
    for id, record in rows.items():
        if not record.withdrawn:
            index.setdefault(getattr(record, field), []).append(id)
    return {value: tuple(ids) for value, ids in index.items()}
