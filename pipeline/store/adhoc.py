"""A session for SQL that somebody types: it can read the store, and nothing else.

Four walls, each enough for most of it: the file is opened read-only; access to
other files and the network is off; the configuration is locked; and only selects
are run at all. Time, memory and rows are limited.
"""

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb

from pipeline.errors import StoreError, UsageError
from pipeline.settings import Settings
from pipeline.store import schema
from pipeline.store.connection import explain, owner_only, plain_errors
from pipeline.store.session import open_store

Type = duckdb.StatementType
Parameters = Mapping[str, str | int | float | bool | None]

_BATCH = 10_000  # rows fetched between two looks at the limits
_OUTSIDE = "A query reads this store alone: no other file, no network, no other database."
_REFUSED = {
    Type.ATTACH: _OUTSIDE,
    Type.DETACH: _OUTSIDE,
    Type.COPY: f"{_OUTSIDE} Results are written with --out FILE.",
    Type.EXPORT: f"{_OUTSIDE} Results are written with --out FILE.",
    Type.LOAD: "No extension can be installed or loaded here.",
    Type.SET: "The configuration is locked.",
    Type.PRAGMA: "The configuration is locked.",
    Type.CALL: "Only a select is run here.",
    Type.MULTI: "A pivot needs its values: pivot ... on column in ('a', 'b').",
}
_WRITES = "The store is read-only here: nothing in it can be changed."
# Words of the database that speak of the query alone; others can quote a record.
_ABOUT_THE_QUERY = (duckdb.ParserException, duckdb.BinderException, duckdb.CatalogException)

_OVER_THE_LIMIT = (
    (
        duckdb.InterruptException,
        "The query was stopped after {limits.seconds:g} s.",
        "--time-limit",
    ),
    (
        duckdb.OutOfMemoryException,
        "The query needs more than {limits.memory} of memory.",
        "--memory-limit",
    ),
)


@dataclass(frozen=True)
class Limits:
    """What a query may use.

    Attributes
    ----------
    seconds : float
        It is stopped after this time.
    memory : str
        As the database writes it; nothing is spilled to disk.
    rows : int
        No more than this many rows are fetched.
    """

    seconds: float = 60.0
    memory: str = "2GB"
    rows: int = 1_000_000


@dataclass(frozen=True)
class Result:
    """The rows of a query.

    Attributes
    ----------
    columns : tuple of str
        Their names.
    rows : list of tuple
        Values as Python objects.
    is_cut : bool
        There were more rows than the limit.
    """

    columns: tuple[str, ...]
    rows: list[tuple[Any, ...]]
    is_cut: bool


class Desk:
    """A read-only session; made by :func:`open_desk`."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, path: Path, limits: Limits) -> None:
        self._connection = connection
        self.path = path
        self.limits = limits

    def run(self, sql: str, parameters: Parameters | None = None) -> Result:
        """Run one select.

        Parameters
        ----------
        sql : str
            One statement that only reads.
        parameters : mapping, optional
            Values bound to ``$name`` in it.

        Raises
        ------
        UsageError
            It is no select, has several statements, names what is not there, or
            reaches outside the store.
        StoreError
            It took too long or too much memory, or could not be answered.
        """
        statement = self._only_select(sql)
        timer = threading.Timer(self.limits.seconds, self._connection.interrupt)
        timer.start()
        try:
            cursor = self._connection.execute(statement, dict(parameters or {}))
            return self._fetch(cursor)
        except duckdb.Error as error:
            raise self._explain(error) from None
        finally:
            timer.cancel()

    def columns(self) -> dict[str, tuple[str, ...]]:
        """Return the columns of every table and view, by name."""
        found: dict[str, list[str]] = {}
        rows = self._connection.execute(
            "select table_name, column_name from duckdb_columns()"
            " where not internal order by table_name, column_index"
        ).fetchall()
        for table, column in rows:
            found.setdefault(table, []).append(column)
        return {table: tuple(dict.fromkeys(names)) for table, names in found.items()}

    def _only_select(self, sql: str) -> duckdb.Statement:
        try:
            statements = self._connection.extract_statements(sql)
        except duckdb.Error as error:
            raise self._explain(error) from None
        if not statements:
            raise UsageError("There is no query.", try_next='dwell sql "select 1"')
        for statement in statements:
            if statement.type not in (Type.SELECT, Type.EXPLAIN):
                raise UsageError(_REFUSED.get(statement.type, _WRITES))
        if len(statements) > 1:
            raise UsageError("One select at a time.")
        return statements[0]

    def _fetch(self, cursor: duckdb.DuckDBPyConnection) -> Result:
        columns = tuple(str(column[0]) for column in cursor.description or ())
        rows: list[tuple[Any, ...]] = []
        while len(rows) <= self.limits.rows:
            batch = cursor.fetchmany(min(_BATCH, self.limits.rows + 1 - len(rows)))
            if not batch:
                return Result(columns, rows, is_cut=False)
            rows += batch
        return Result(columns, rows[: self.limits.rows], is_cut=True)

    def _explain(self, error: duckdb.Error) -> UsageError | StoreError:
        for kind, message, try_next in _OVER_THE_LIMIT:
            if isinstance(error, kind):
                return StoreError(
                    message.format(limits=self.limits),
                    try_next=f"a smaller question, or a larger {try_next}",
                )
        return _about_the_query(error) or explain(error, self.path)


def _about_the_query(error: duckdb.Error) -> UsageError | None:
    """Say what is wrong with the query; None where that is not what is wrong."""
    text = str(error)
    if isinstance(error, duckdb.PermissionException):
        message = _OUTSIDE
    elif isinstance(error, duckdb.ConversionException):
        message = "A value cannot be converted to the type that the query asks for."
    elif "read-only" in text:
        message = _WRITES
    elif isinstance(error, _ABOUT_THE_QUERY):
        # The database's own sentence, and where in the query it points.
        message = "\n".join([line for line in text.splitlines() if line.strip()][:6])
    elif isinstance(error, duckdb.InvalidInputException) and "arameter" in text:
        message = "The query has a parameter without a value."
    else:
        return None
    return UsageError(message)


@contextmanager
def open_desk(
    path: Path | str, *, settings: Settings | None = None, limits: Limits | None = None
) -> Iterator[Desk]:
    """Open the store for SQL that somebody types.

    Parameters
    ----------
    path : Path or str
        The store; one of an older version is brought up to date first.
    settings : Settings, optional
        The programme's settings stand in the views `setting` and `dose_ceiling`.
    limits : Limits, optional
        Of time, memory and rows.

    Raises
    ------
    StoreError
        The store is missing, in use, damaged or of a newer schema.
    """
    path, limits = Path(path), limits or Limits()
    connection = _connect(path, limits)
    try:
        _put_settings(connection, settings or Settings())
        yield Desk(connection, path, limits)
    finally:
        connection.close()


def _connect(path: Path, limits: Limits) -> duckdb.DuckDBPyConnection:
    with owner_only():
        if path.exists():
            with plain_errors(path):
                connection = duckdb.connect(str(path), read_only=True, config=_walls(limits))
            try:
                with plain_errors(path):
                    if schema.is_current(connection):
                        return connection
            except StoreError:
                connection.close()
                raise
            connection.close()
        with open_store(path):  # says what is missing, or brings it up to date
            pass
        with plain_errors(path):
            return duckdb.connect(str(path), read_only=True, config=_walls(limits))


def _walls(limits: Limits) -> dict[str, Any]:
    return {
        "enable_external_access": "false",
        "python_enable_replacements": "false",
        "allow_community_extensions": "false",
        "autoinstall_known_extensions": "false",
        "autoload_known_extensions": "false",
        "temp_directory": "",
        "memory_limit": limits.memory,
        "lock_configuration": "true",
    }


def _put_settings(connection: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    """Cover the defaults with the programme's settings: temporary names come first."""
    connection.execute(
        "create temp table setting as select 'evening_meal_hour' as name,"
        " cast(? as double) as value",
        [settings.evening_meal_hour],
    )
    connection.execute("create temp table dose_ceiling (below_age_years integer, mg_kg_h double)")
    for ceiling in settings.dose_ceilings:
        connection.execute(
            "insert into dose_ceiling values (?, ?)", [ceiling.below_age_years, ceiling.mg_kg_h]
        )
