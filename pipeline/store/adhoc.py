"""SQL that somebody types: it can read the store, and nothing else.

The query runs in a process of its own, `query_process`, where its time and memory can be
limited whatever it does. This module starts that process, asks it, and says what ended
it. It imports no database.
"""

import os
import pickle
import signal
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import StoreError
from pipeline.settings import Settings
from pipeline.store.query_limits import QueryLimits, over_memory, over_time

if TYPE_CHECKING:
    import pyarrow as pa

Parameters = Mapping[str, str | int | float | bool | None]
Reply = tuple[str, Any]  # columns, rows, error or end; and what goes with it

TIME_IS_OVER = 124  # exit code where the system has no alarm
_SERVE = "from pipeline.store.query_process import serve; serve()"


@dataclass(frozen=True)
class QueryResult:
    """The rows of a query.

    Attributes
    ----------
    columns : tuple of str
        Their names.
    parts : list of bytes
        The rows, pickled: as Python objects they would take many times the memory.
    count : int
        How many rows there are.
    is_cut : bool
        There were more rows than the limit.
    until : float
        When the query's time is over, on the monotonic clock.
    """

    columns: tuple[str, ...]
    parts: list[bytes]
    count: int
    is_cut: bool
    until: float
    limits: QueryLimits

    def __iter__(self) -> Iterator[tuple[Any, ...]]:
        """Give the rows, as often as asked; raises `StoreError` when time is over."""
        for part in self.parts:
            if time.monotonic() > self.until:
                raise over_time(self.limits)
            yield from pickle.loads(part)

    @property
    def rows(self) -> list[tuple[Any, ...]]:
        """All rows, as tuples of Python objects."""
        return list(self)


@dataclass(frozen=True)
class QueryBatches:
    """The rows of a query, column by column, for a file of columns.

    Attributes
    ----------
    schema : pyarrow.Schema
        Names and types of the columns.
    batches : list of pyarrow.RecordBatch
        The rows, in their order.
    is_cut : bool
        There were more rows than the limit.
    """

    schema: "pa.Schema"
    batches: "list[pa.RecordBatch]"
    count: int
    is_cut: bool


class QuerySession:
    """Asks one select after another; made by :func:`open_queries`."""

    def __init__(self, path: Path, settings: Settings, limits: QueryLimits) -> None:
        self.path = path
        self.limits = limits
        self._settings = settings
        self._process: subprocess.Popen[bytes] | None = None

    def run(self, sql: str, parameters: Parameters | None = None) -> QueryResult:
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
            It is no select, has several statements, names what is not there, reaches
            outside the store, or its values do not suit what it does with them.
        StoreError
            It took too long or too much memory, or could not be answered.
        """
        self._begin()
        until = time.monotonic() + self.limits.seconds
        columns, parts, count, is_cut = self._answer("rows", sql, parameters)
        return QueryResult(columns, parts, count, is_cut, until, self.limits)

    def batches(self, sql: str, parameters: Parameters | None = None) -> QueryBatches:
        """Run one select as :meth:`run` does, and give its rows column by column."""
        schema, parts, count, is_cut = self._answer("batches", sql, parameters)
        return QueryBatches(schema, [pickle.loads(part) for part in parts], count, is_cut)

    def columns(self) -> dict[str, tuple[str, ...]]:
        """Return the columns of every table and view, by name."""
        found: dict[str, list[str]] = {}
        rows = self.run(
            "select table_name, column_name from duckdb_columns()"
            " where not internal order by table_name, column_index"
        ).rows
        for table, column in rows:
            found.setdefault(table, []).append(column)
        return {table: tuple(dict.fromkeys(names)) for table, names in found.items()}

    def start(self) -> None:
        """Start the process that reads the store; raises `StoreError` where it cannot."""
        paths = os.pathsep.join(path or os.getcwd() for path in sys.path)
        self._process = subprocess.Popen(
            [sys.executable, "-P", "-c", _SERVE],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=None if os.environ.get("DWELL_DEBUG") else subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": paths},
            process_group=0,  # Ctrl-C comes to us alone, and we end it
        )
        list(self._exchange((os.getpid(), self.path, self._settings, self.limits)))

    def _begin(self) -> None:
        """Start the process anew where a query has ended it: that takes none of its time."""
        if self._process is None:
            self.start()

    def stop(self) -> None:
        """End the process."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            for pipe in (self._process.stdin, self._process.stdout):
                if pipe is not None:
                    with suppress(OSError):
                        pipe.close()
            self._process = None

    def _answer(
        self, what: str, sql: str, parameters: Parameters | None
    ) -> tuple[Any, list[bytes], int, bool]:
        """Return the columns, the parts and number of the rows, and whether there were more."""
        self._begin()
        columns, parts, count, is_cut = None, [], 0, False
        for kind, value in self._exchange((what, sql, dict(parameters or {}))):
            if kind == "columns":
                columns = value
            elif kind == "rows":
                parts.append(value)
            else:
                count, is_cut = value
        return columns, parts, count, is_cut

    def _exchange(self, request: Any) -> Iterator[Reply]:
        """Send one request, and give the parts of its answer up to the end."""
        assert self._process is not None
        asks, answers = self._process.stdin, self._process.stdout
        assert asks is not None
        assert answers is not None
        kind: str = ""
        value: Any = None
        try:
            pickle.dump(request, asks)
            asks.flush()
            while kind != "end":
                kind, value = pickle.load(answers)
                if kind == "error":
                    break
                yield kind, value
        except (EOFError, OSError, pickle.UnpicklingError):
            raise self._what_ended_it() from None
        except BaseException:  # Ctrl-C, or nobody wants the rest
            self.stop()
            raise
        if kind == "error":
            raise value

    def _what_ended_it(self) -> StoreError:
        assert self._process is not None
        code = self._process.wait()
        self.stop()
        if code == TIME_IS_OVER or (hasattr(signal, "SIGALRM") and code == -signal.SIGALRM):
            return over_time(self.limits)
        if code < 0:  # an allocation that failed where the database cannot say so
            return over_memory(self.limits)
        return StoreError(f"The store {self.path} could not answer.")


@contextmanager
def open_queries(
    path: Path | str, *, settings: Settings | None = None, limits: QueryLimits | None = None
) -> Iterator[QuerySession]:
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
    queries = QuerySession(Path(path), settings or Settings(), limits or QueryLimits())
    try:
        queries.start()
        yield queries
    finally:
        queries.stop()
