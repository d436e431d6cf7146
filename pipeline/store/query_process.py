"""The process in which a typed query runs: it opens the store, answers, and can be ended.

Four walls, each enough for most of it: the file is opened read-only; access to other
files and the network is off; the configuration is locked; and only selects are run at
all. Time and memory are limited by the system, since the database looks at its own
limits only between two steps of a query, and one step can make a value of any size.
"""

import os
import pickle
import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, BinaryIO

import duckdb

from pipeline.children import end_with_parent
from pipeline.errors import DwellError, StoreError, UsageError
from pipeline.store import schema
from pipeline.store.adhoc import TIME_IS_OVER, Parameters, Reply
from pipeline.store.connection import explain, owner_only, plain_errors, require_file
from pipeline.store.query_errors import OUTSIDE, WRITES, about_the_query
from pipeline.store.query_limits import QueryLimits, over_memory
from pipeline.store.session import open_store
from pipeline.store.settings_tables import put_settings

Type = duckdb.StatementType

_BATCH = 10_000  # rows sent at a time
_BESIDE = 256_000_000  # bytes that the database takes beside what its own limit counts
_SELECTS = (Type.SELECT, Type.EXPLAIN)
_REFUSED = {
    Type.ATTACH: OUTSIDE,
    Type.DETACH: OUTSIDE,
    Type.COPY: f"{OUTSIDE} Results are written with --out FILE.",
    Type.EXPORT: f"{OUTSIDE} Results are written with --out FILE.",
    Type.LOAD: "No extension can be installed or loaded here.",
    Type.SET: "The configuration is locked.",
    Type.PRAGMA: "The configuration is locked.",
    Type.CALL: "Only a select is run here.",
    Type.MULTI: "A pivot needs its values: pivot ... on column in ('a', 'b').",
}


def serve() -> None:
    """Answer what is asked on stdin, on what was stdout, until stdin ends."""
    replies = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)  # whatever else is printed must not stand among the answers
    for reply in _replies(sys.stdin.buffer):
        replies.write(reply)
        replies.flush()


def _replies(asked: BinaryIO) -> Iterator[bytes]:
    parent, path, settings, limits = pickle.load(asked)
    end_with_parent(parent)
    try:
        connection = _open(path, limits)
        put_settings(connection, settings)
    except DwellError as error:
        yield pickle.dumps(("error", error))
        return
    _limit_memory(limits)
    yield pickle.dumps(("end", (0, False)))
    reader = _Reader(connection, path, limits)
    while (request := _next(asked)) is not None:
        yield from reader.answer(*request)


def _next(asked: BinaryIO) -> tuple[Any, ...] | None:
    try:
        request: tuple[Any, ...] = pickle.load(asked)
    except EOFError:
        return None
    return request


def _limit_memory(limits: QueryLimits) -> None:
    """Let this process take no more than the limit on top of what it has by now."""
    try:
        import resource

        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[5])
    except (ImportError, OSError, ValueError, IndexError):
        return  # a system that does not tell; the database's own limit stands
    most = pages * resource.getpagesize() + limits.memory_bytes + _BESIDE
    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    if hard == resource.RLIM_INFINITY or most < hard:
        resource.setrlimit(resource.RLIMIT_DATA, (most, hard))


@contextmanager
def _alarm(seconds: float) -> Iterator[None]:
    """End this process at the time limit, whatever it is busy with."""
    if hasattr(signal, "setitimer"):
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_REAL, seconds)
        try:
            yield
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)
    else:
        timer = threading.Timer(seconds, os._exit, [TIME_IS_OVER])
        timer.start()
        try:
            yield
        finally:
            timer.cancel()


class _Reader:
    """Runs one select after another."""

    def __init__(
        self, connection: duckdb.DuckDBPyConnection, path: Path, limits: QueryLimits
    ) -> None:
        self._connection = connection
        self._path = path
        self._limits = limits

    def answer(self, what: str, sql: str, parameters: Parameters) -> Iterator[bytes]:
        """Give the parts of an answer as they come, within the limits; the last is its end."""
        left = self._limits.memory_bytes  # whoever asked keeps all of the answer
        with _alarm(self._limits.seconds):
            try:
                for reply in self._parts(what, sql, parameters):
                    part = pickle.dumps(reply)
                    left -= len(part)
                    if left < 0:
                        raise over_memory(self._limits)
                    yield part
            except (duckdb.Error, DwellError, MemoryError) as error:
                yield pickle.dumps(("error", self._explain(error, sql)))

    def _parts(self, what: str, sql: str, parameters: Parameters) -> Iterator[Reply]:
        cursor = self._connection.execute(self._only_select(sql), dict(parameters))
        if what == "batches":
            reader: Any = cursor.to_arrow_reader(_BATCH)
            yield "columns", reader.schema
            batches = reader
        else:
            yield "columns", tuple(str(column[0]) for column in cursor.description or ())
            batches = iter(lambda: cursor.fetchmany(_BATCH), [])
        count, most = 0, self._limits.rows
        for batch in batches:
            part = batch[: min(most - count, len(batch))]
            yield "rows", pickle.dumps(part)
            count += len(part)
            if len(part) < len(batch):
                yield "end", (count, True)
                return
        yield "end", (count, False)

    def _only_select(self, sql: str) -> duckdb.Statement:
        statements = self._connection.extract_statements(sql)
        if not statements:
            raise UsageError("There is no query.", try_next='dwell sql "select 1"')
        for statement in statements:
            try:
                type_ = statement.type
            except ValueError:  # one for which the database has no name
                raise UsageError("Only a select is run here.") from None
            if type_ not in _SELECTS:
                raise UsageError(_REFUSED.get(type_, WRITES))
        if len(statements) > 1:
            raise UsageError("One select at a time.")
        return statements[0]

    def _explain(self, error: Exception, sql: str) -> DwellError:
        if isinstance(error, DwellError):
            return error
        if isinstance(error, MemoryError | duckdb.OutOfMemoryException):
            return over_memory(self._limits)
        assert isinstance(error, duckdb.Error)
        return about_the_query(error, sql) or explain(error, self._path)


def _open(path: Path, limits: QueryLimits) -> duckdb.DuckDBPyConnection:
    with owner_only():
        if path.exists():
            require_file(path)
            connection = _connect(path, limits)
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
        return _connect(path, limits)


def _connect(path: Path, limits: QueryLimits) -> duckdb.DuckDBPyConnection:
    with plain_errors(path):
        try:
            return duckdb.connect(str(path), read_only=True, config=_walls(limits))
        except duckdb.OutOfMemoryException:
            raise over_memory(limits) from None


def _walls(limits: QueryLimits) -> dict[str, Any]:
    return {
        "enable_external_access": "false",
        "python_enable_replacements": "false",
        "allow_community_extensions": "false",
        "autoinstall_known_extensions": "false",
        "autoload_known_extensions": "false",
        "temp_directory": "",
        "memory_limit": limits.memory,
        "errors_as_json": "true",
        "lock_configuration": "true",
    }
