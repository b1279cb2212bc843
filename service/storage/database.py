"""Opening the record: the folder, its lock, the engine, the schema, and the shops in it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any, Self

from service.domain.refused import Refused, Unknown
from service.storage import engine
from service.storage.bootstrap import first_entry
from service.storage.clock import utc_now
from service.storage.engine import CannotOpen, Pool
from service.storage.files import FileCache
from service.storage.folder import FolderLock
from service.storage.heads_file import HeadsFile
from service.storage.journal import Head
from service.storage.migrate import bring_up
from service.storage.photo_files import LocalPhotos
from service.storage.postgresql import PostgresqlWriter
from service.storage.sql import Sql
from service.storage.store import ReadOnly, ShopStore
from service.storage.unit import Change
from service.storage.writer import SqliteWriter
from service.use_cases.ports import Receipt

FILE = "keepcard.sqlite3"


class NoShop(Refused):
    """There is no shop yet, or it has to be said which."""


class Database:
    """The record of one or several shops, open until ``close``."""

    def __init__(
        self,
        data_dir: Path,
        database_url: str | None = None,
        *,
        read_only: bool = False,
        address: str = "",
        clock: Callable[[], datetime] = utc_now,
    ) -> None:
        self.data_dir = data_dir
        self.url = database_url
        self.read_only = read_only
        self.clock = clock
        self.warning: str | None = None
        """What the person who starts the service should know, None when all is well."""
        self.cache = FileCache()
        self.photos = LocalPhotos(data_dir)
        self._lock: FolderLock | None = None
        self._writer: SqliteWriter | PostgresqlWriter | None = None
        self._writer_lock = threading.Lock()
        if not read_only:
            # Password hashes lie in it, so a new folder is nobody else's to read.
            data_dir.mkdir(mode=0o700, parents=True, exist_ok=True)
        elif not self.postgresql and not (data_dir / FILE).exists():
            raise CannotOpen(
                f"There is no record in {data_dir}. Check the folder, or start the service with it."
            )
        if not read_only and not self.postgresql:
            self._lock = FolderLock(data_dir).acquire(address)
        try:
            self._connect = self._connector()
            self._bring_up()
            self._heads = None if read_only else HeadsFile(data_dir)
            self._readers = Pool(lambda: self._connect(False), postgresql=self.postgresql)
        except BaseException:
            self._release()
            raise

    @property
    def postgresql(self) -> bool:
        """Whether the record is in PostgreSQL; else in the SQLite file of the folder."""
        return self.url is not None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def shops(self) -> list[tuple[str, str]]:
        """Id and name of every shop here."""
        with self.reading() as sql:
            rows = sql.rows(
                "SELECT COALESCE(corrects, id), name FROM shops ORDER BY received_at, revision"
            )
        return list({str(row[0]): (str(row[0]), str(row[1])) for row in rows}.values())

    def store(self, shop_id: str | None = None) -> ShopStore:
        """The store of a shop; of the only one when none is named.

        Raises
        ------
        NoShop
            When there is no shop yet, or there are several and none was named.
        Unknown
            When there is no such shop.
        """
        shops = self.shops()
        if shop_id is not None:
            if shop_id not in [id for id, _ in shops]:
                raise Unknown("shop", shop_id)
            return ShopStore(self, shop_id)
        if not shops:
            raise NoShop(
                "There is no shop in this record yet. "
                "Start the service and open the setup link it prints."
            )
        if len(shops) > 1:
            named = ", ".join(f"{name} ({id})" for id, name in shops)
            raise NoShop(f"This database holds several shops: {named}. Name the one you mean.")
        return ShopStore(self, shops[0][0])

    def create_shop(
        self,
        name: str,
        *,
        manager: str,
        password_hash: str | None = None,
        is_demo: bool = False,
        shop_id: str | None = None,
        manager_id: str | None = None,
    ) -> ShopStore:
        """Make a shop with its first manager: the first entry of its chain."""
        self._must_write()
        entry = first_entry(
            name,
            manager=manager,
            password_hash=password_hash,
            is_demo=is_demo,
            shop_id=shop_id,
            manager_id=manager_id,
            now=self.clock(),
        )
        head = self.writer().run(entry.write)
        self.recorded([head])
        return ShopStore(self, head.chain)

    @contextmanager
    def reading(self) -> Iterator[Sql]:
        """A connection that cannot write."""
        with self._readers.use() as sql:
            yield sql

    @contextmanager
    def snapshot(self) -> Iterator[Sql]:
        """A connection whose statements all see the record of one moment."""
        with self._readers.use() as sql:
            sql.run(
                "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY" if self.postgresql else "BEGIN"
            )
            yield sql
            sql.run("COMMIT")

    def writer(self) -> SqliteWriter | PostgresqlWriter:
        """The one that writes, made when the first change comes."""
        self._must_write()
        with self._writer_lock:
            if self._writer is None:
                if self.postgresql:
                    pool = Pool(lambda: self._connect(True), postgresql=True, keep=16)
                    self._writer = PostgresqlWriter(pool, self.cache, self._heads)
                else:
                    self._writer = SqliteWriter(
                        lambda: self._connect(True), self.cache, self._heads
                    )
            return self._writer

    def make(self, shop_id: str, change: Change) -> Receipt:
        """Make a change and wait for it."""
        writer = self.writer()
        if isinstance(writer, PostgresqlWriter):
            return writer.write(shop_id, change)
        return writer.submit(shop_id, change).result()

    def recorded(self, heads: Iterable[Head]) -> None:
        """Take heads that were written past the changes into the file beside the data."""
        if self._heads is not None:
            self._heads.note(heads)

    def note_heads(self) -> None:
        """Write the heads that moved into the file beside the data, and wait for the disk."""
        if self._heads is not None:
            self._heads.write(durable=True)

    def close(self) -> None:
        """Finish what is being written, note the heads, give the folder back."""
        with self._writer_lock:
            writer, self._writer = self._writer, None
        try:
            if writer is not None:
                writer.close()
            self.note_heads()
        finally:
            self._readers.close()
            self._release()

    def _must_write(self) -> None:
        if self.read_only:
            raise ReadOnly("The record is open for reading only. Open it for writing first.")

    def _connector(self) -> Callable[[bool], Any]:
        if self.url is not None:
            url = engine.postgresql_url(self.url)
            return lambda writing: engine.connect_postgresql(url, reading=not writing)
        choice = engine.choose_sqlite()
        self.warning = choice.warning
        file = self.data_dir / FILE
        return lambda writing: engine.connect_sqlite(choice, file, writing=writing)

    def _bring_up(self) -> None:
        sql = Sql(self._connect(not self.read_only), postgresql=self.postgresql)
        try:
            bring_up(sql, read_only=self.read_only)
        finally:
            sql.connection.close()

    def _release(self) -> None:
        if self._lock is not None:
            self._lock.release()
            self._lock = None


def open_database(
    data_dir: Path | str,
    database_url: str | None = None,
    *,
    read_only: bool = False,
    address: str = "",
    clock: Callable[[], datetime] = utc_now,
) -> Database:
    """Open the record of a folder, with or without a shop in it.

    ``address`` is where the server that opens it answers; who else wants to write in the folder
    is told. On PostgreSQL the folder holds only the photos and the noted heads.
    """
    return Database(Path(data_dir), database_url, read_only=read_only, address=address, clock=clock)


def open_store(
    data_dir: Path | str,
    database_url: str | None = None,
    shop_id: str | None = None,
    *,
    read_only: bool = False,
    address: str = "",
    clock: Callable[[], datetime] = utc_now,
) -> ShopStore:
    """Open the record of a folder and the store of a shop in it; ``close`` its database."""
    database = open_database(
        data_dir, database_url, read_only=read_only, address=address, clock=clock
    )
    try:
        return database.store(shop_id)
    except BaseException:
        database.close()
        raise
