"""The engines that hold records elsewhere, where a test can reach them.

PostgreSQL is tried where `DWELL_TEST_POSTGRES` says how to connect, Spark where PySpark and
Java are and `DWELL_TEST_SPARK` is set: it takes minutes.
"""

import atexit
import os
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

import duckdb
import polars as pl
import pytest

from pipeline.records.declaration import SQL_TYPE
from pipeline.records.layout import RECORDS
from pipeline.settings import Settings
from pipeline.store.engines import Postgres, Spark, open_platform
from pipeline.store.platform import Platform

POSTGRES, SPARK = "DWELL_TEST_POSTGRES", "DWELL_TEST_SPARK"


def needs(engine: str) -> None:
    """Skip a test whose engine cannot be reached, saying why."""
    if engine == "postgres":
        pytest.importorskip("psycopg")
        if not os.environ.get(POSTGRES):
            pytest.skip(f"{POSTGRES} names no server")
    if engine == "spark":
        if not os.environ.get(SPARK):
            pytest.skip(f"{SPARK} is not set")
        if find_spec("pyspark") is None or shutil.which("java") is None:
            pytest.skip("there is no PySpark, or no Java")
        _open.cache_clear()  # a command ends the process's one session with its own


def place(engine: str, records: Path) -> str:
    """Return what `--records` says of records in Parquet, put into the server where it is one."""
    if engine == "postgres":
        with _server() as connection:
            for name in RECORDS:
                connection.execute(f"drop table if exists {name}")
            for file in records.iterdir():
                at = file if file.is_file() else file / "**" / "*.parquet"
                found = duckdb.sql(
                    f"from read_parquet('{at}', hive_partitioning=true, hive_types_autocast=false)"
                )
                _put(connection, f"table {file.stem}", file.stem, found.pl())
            connection.commit()
        return os.environ[POSTGRES]
    return str(records)


@contextmanager
def _server() -> Iterator[Any]:
    import psycopg

    with psycopg.connect(os.environ[POSTGRES]) as connection:
        yield connection


def _put(connection: Any, made: str, record: str, frame: pl.DataFrame) -> None:
    types = {f.name: SQL_TYPE[f.kind].replace("double", "double precision")
             for f in RECORDS[record].fields}  # fmt: skip
    columns = [name for name in frame.columns if name in types]
    connection.execute(f"create {made} ({', '.join(f'{c} {types[c]}' for c in columns)})")
    copied = f"copy {record} ({', '.join(columns)}) from stdin"
    with connection.cursor() as cursor, cursor.copy(copied) as copy:
        for row in frame.select(columns).iter_rows():
            copy.write_row(row)


@cache
def _open() -> list[Platform]:
    """Connect to each engine that can be reached, for as long as the tests run."""
    found: list[Platform] = []
    for engine, variable in (("postgres", POSTGRES), ("spark", SPARK)):
        if os.environ.get(variable):
            scratch = Path(mkdtemp())
            records = os.environ[variable] if engine == "postgres" else str(scratch)
            found.append(_OPENED.enter_context(open_platform(engine, records, scratch)))
    return found


_OPENED = ExitStack()
atexit.register(_OPENED.close)


def elsewhere(connection: duckdb.DuckDBPyConnection, sql: str) -> Iterator[list[tuple[Any, ...]]]:
    """Ask each engine within reach what the store is asked, of the same records.

    Not where a session has settings of its own, which an engine does not get.
    """
    own = connection.sql("select 1 from duckdb_views() where temporary and view_name = 'setting'")
    for platform in () if own.fetchall() else _open():
        for name, record in RECORDS.items():
            frame = connection.sql(f"select {', '.join(record.columns)} from {name}").pl()
            if isinstance(platform, Postgres):
                _put(platform.connection, f"temp table {name}", name, frame)
            elif isinstance(platform, Spark):
                rows = platform.connection.createDataFrame(frame.to_arrow())
                rows.createOrReplaceTempView(name)
        platform.make_views(Settings())
        yield platform.rows(sql)
        if isinstance(platform, Postgres):
            platform.connection.rollback()
