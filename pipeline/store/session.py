"""A session on the store: what every other stage reads through."""

import datetime as dt
import logging
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from pipeline.errors import NoDataError, StoreError
from pipeline.records.layout import RECORDS
from pipeline.settings import Settings
from pipeline.store import schema
from pipeline.store.connection import connect, needs_episodes, owner_only, plain_errors
from pipeline.store.copying import writing_copy
from pipeline.store.kept_ready import RECORD_SUMS
from pipeline.store.settings_tables import put_settings, settings_text

if TYPE_CHECKING:
    import polars as pl

# Unless a program sets up logging of its own, Python writes its warnings to stderr.
_LOG = logging.getLogger("dwell")

Parameters = Sequence[Any] | Mapping[str, Any] | None


class Store:
    """An open store.

    Attributes
    ----------
    path : Path
        The DuckDB file.
    connection : duckdb.DuckDBPyConnection
        For `pipeline.store` alone; every other stage calls the methods.
    """

    def __init__(self, connection: duckdb.DuckDBPyConnection, path: Path) -> None:
        self.path = path
        self.connection = connection

    @cached_property
    def holds_counts(self) -> bool:
        """Whether it holds counts gathered elsewhere, and no single episodes."""
        return bool(self.rows("from duckdb_tables() where table_name = 'gathered'"))

    @cached_property
    def counted_under(self) -> str:
        """The settings of what it keeps counted, as `settings_text` writes them."""
        if not self.holds_counts:
            return settings_text()
        ((text,),) = self.rows("select settings from gathered")
        return str(text)

    def needs_episodes(self, what: str) -> StoreError:
        """Return the error of a store of counts that is asked for more."""
        return needs_episodes(self.path, what)

    def frame(self, sql: str, params: Parameters = None) -> "pl.DataFrame":
        """Run one select and return its rows as a polars frame.

        Raises
        ------
        StoreError
            The select cannot be run.
        """
        with plain_errors(self.path):
            frame: pl.DataFrame = self.connection.sql(sql, params=params).pl()
            return frame

    def rows(self, sql: str, params: Parameters = None) -> list[tuple[Any, ...]]:
        """Run one statement and return its rows as tuples; raises as `frame` does."""
        with plain_errors(self.path):
            return self.connection.execute(sql, params).fetchall()

    def put_settings(self, settings: Settings) -> None:
        """Let rules in SQL read these settings for the rest of the session."""
        with plain_errors(self.path):
            put_settings(self.connection, settings)

    def insert(self, table: str, rows: Sequence[tuple[Any, ...]]) -> None:
        """Add rows to a table in one transaction; raises as `frame` does."""
        marks = ", ".join("?" for _ in rows[0])
        with plain_errors(self.path):
            self.connection.begin()
            self.connection.executemany(f"insert into {table} values ({marks})", rows)
            self.connection.commit()

    def insert_frame(self, table: str, frame: "pl.DataFrame") -> None:
        """Add a frame's rows to a table whose columns it has; raises as `frame` does."""
        with plain_errors(self.path):
            self.connection.register("rows_to_insert", frame)
            self.connection.execute(f"insert into {table} by name select * from rows_to_insert")
            self.connection.unregister("rows_to_insert")

    def as_of(self) -> dt.date:
        """Return the latest date on which the loaded records were extracted.

        Raises
        ------
        NoDataError
            Nothing has been loaded.
        """
        ((latest,),) = self.rows(
            "select max(as_of) from load where kind = 'load' and undone_by is null"
        )
        if latest is None:
            raise NoDataError(f"The store {self.path} is empty.", try_next="dwell load FOLDER")
        return dt.date.fromisoformat(str(latest))

    def fingerprint(self) -> str:
        """Return 16 hexadecimal digits that change when a stored record does.

        It depends on the current records and the extraction date alone, not on the
        order or number of loads.
        """
        import hashlib

        sums = {
            record: (count, total)
            for record, count, total in self.rows(f"select * from {RECORD_SUMS}")
        }
        digest = hashlib.sha256()
        for record in RECORDS:
            count, total = sums[record]
            digest.update(f"{record} {count} {total}\n".encode())
        digest.update(self.as_of().isoformat().encode())
        return digest.hexdigest()[:16]


@contextmanager
def open_store(path: Path | str, *, read_only: bool = True) -> Iterator[Store]:
    """Open the store, brought to the schema and views of this version.

    A session that writes works on a copy, which takes the place of the store when the
    session ends without an error. Sessions that read meanwhile keep what they opened; one
    that is opened beside them in the same process shares it.

    Parameters
    ----------
    path : Path or str
        The DuckDB file; opened for writing, it is made where there is none.
    read_only : bool
        A read-only session can change neither the store nor any other file.

    Raises
    ------
    StoreError
        The store is missing, in use, read-only, damaged or of a newer schema.
    """
    path = Path(path)
    with owner_only(), _reading(path) if read_only else _writing(path) as connection:
        yield Store(connection, path)


@contextmanager
def _reading(path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    connection = connect(path, read_only=True)
    try:
        with plain_errors(path):
            is_current = schema.is_current(connection)
        if not is_current:
            connection.close()
            with _writing(path):
                pass  # brings it up to date
            connection = connect(path, read_only=True)
        with plain_errors(path):
            _close_doors(connection)
        yield connection
    finally:
        connection.close()


@contextmanager
def _writing(path: Path) -> Iterator[duckdb.DuckDBPyConnection]:
    with writing_copy(path) as copy:
        connection = connect(copy, read_only=False, store=path)
        try:
            with plain_errors(path):
                if not schema.is_current(connection):
                    _bring_up_to_date(connection, path)
            yield connection
            with plain_errors(path):
                connection.execute("checkpoint")  # closing would do it, and hide a failure
        finally:
            connection.close()


def _bring_up_to_date(connection: duckdb.DuckDBPyConnection, path: Path) -> None:
    """Migrate the copy in one transaction; the store at `path` stays until it succeeded."""
    version, newest = schema.version_of(connection), schema.migrations()[-1].number
    if 0 < version < newest:
        _LOG.warning("The store %s is of schema %s; bringing it up to %s.", path, version, newest)
    connection.begin()
    schema.bring_up_to_date(connection)
    connection.commit()


def _close_doors(connection: duckdb.DuckDBPyConnection) -> None:
    """No other file can be read or written, and nothing can open it again."""
    ((is_closed,),) = connection.execute("select current_setting('lock_configuration')").fetchall()
    if is_closed:  # by a session beside this one, in the same process
        return
    connection.execute("set enable_external_access = false")
    connection.execute("set lock_configuration = true")
