"""The engines that records can be in: each a connection, and what it holds."""

import os
import re
import shutil
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from pipeline.errors import DwellError, InputError
from pipeline.records.plan import literal
from pipeline.store.platform import Platform

if TYPE_CHECKING:
    import polars as pl


# What a session of Spark must have to give the store's digits, and to stay quiet.
SPARK = {
    "spark.sql.session.timeZone": "UTC",
    "spark.sql.sources.partitionColumnTypeInference.enabled": "false",  # names of parts are text
    "spark.ui.enabled": "false",
    "spark.ui.showConsoleProgress": "false",
    "spark.log.level": "OFF",
}


class _Files(Platform):
    """An engine over a folder of Parquet: a file, or a folder of parts, a record."""

    def __init__(self, connection: Any, folder: Path) -> None:
        super().__init__(connection, folder)
        if not folder.is_dir():
            raise InputError(f"There is no folder {folder}.")

    def place(self, record: str) -> Path | None:
        """Return the file or folder of a record; None where there is none."""
        found = (self.path / f"{record}.parquet", self.path / record)
        return next((place for place in found if place.exists()), None)


class DuckDb(_Files):
    """The store's own database, over files that it does not load."""

    name = "DuckDB"

    def ask(self, sql: str) -> "pl.DataFrame":
        """Run one statement."""
        import polars as pl

        found = self.connection.sql(sql)
        frame: pl.DataFrame = pl.DataFrame() if found is None else found.pl()
        return frame

    def columns(self, record: str) -> dict[str, str] | None:
        """Return the types of a record's columns."""
        if self.place(record) is None:
            return None
        described = self.ask(f"describe select * from {self.source(record)}")
        return dict(described.select("column_name", "column_type").rows())

    def source(self, record: str) -> str:
        """Return the reading of a record's files; what parts are named by is text."""
        place = self.place(record)
        if place is None or place.is_file():
            return f"read_parquet({literal(str(place))})"
        parts = literal(str(place / "**" / "*.parquet"))
        return f"read_parquet({parts}, hive_partitioning = true, hive_types_autocast = false)"


class Spark(_Files):
    """Spark, over files in parts or whole; its session ends with the connection."""

    name, dialect = "Spark", "spark"

    def keep(self, name: str, select: str) -> None:
        """Make a table of a select of ours.

        Its rows, and not how they came about: plans of views on views grow beyond all measure.
        """
        found = self._run(lambda: self.connection.sql(self.translated(select)).localCheckpoint())
        found.createOrReplaceTempView(name)

    def translated(self, sql: str) -> str:
        """Return SQL of ours in Spark's words.

        As the select of a view: of a select by itself the named parts of its parts would be
        brought to its head, where their names clash.
        """
        return super().translated(f"create view asked as {sql}").partition(" AS ")[2]

    def ask(self, sql: str) -> "pl.DataFrame":
        """Run one statement."""
        import polars as pl

        found = self.connection.sql(sql)
        if not found.columns:
            return pl.DataFrame()
        frame: pl.DataFrame = pl.from_arrow(found.toArrow())  # type: ignore[assignment]
        return frame

    def columns(self, record: str) -> dict[str, str] | None:
        """Return the types of a record's columns, and put its files under a name."""
        place = self.place(record)
        if place is None:
            return None
        files = self.connection.read.parquet(str(place))
        files.createOrReplaceTempView(self.source(record))
        return dict(files.dtypes)

    def source(self, record: str) -> str:
        """Return the name that a record's files are put under."""
        return f"files_of_{record}"


class Postgres(Platform):
    """A PostgreSQL server, read in one transaction that is taken back at the end."""

    name, dialect, text_order = "PostgreSQL", "postgres", 'collate "C"'
    keeps = "create temp table {name} as {select}; analyze {name}"

    def translated(self, sql: str) -> str:
        """Return SQL of ours in the server's words; it counts bits of strings of bits only."""
        said = super().translated(sql)
        return re.sub(r"\bBIT_COUNT\(([\w.]+)\)", r"BIT_COUNT(\1::bit(32))", said)

    def ask(self, sql: str) -> "pl.DataFrame":
        """Run one statement."""
        import polars as pl

        with self.connection.cursor() as cursor:
            cursor.execute(sql)
            if cursor.description is None:
                return pl.DataFrame()
            names = [column.name for column in cursor.description]
            return pl.DataFrame(cursor.fetchall(), names, orient="row", infer_schema_length=None)

    def columns(self, record: str) -> dict[str, str] | None:
        """Return the types of a record's columns, in the schema that the server looks in first."""
        found = self.ask(
            "select column_name, data_type from information_schema.columns"
            f" where table_name = '{record}' and table_schema = current_schema()"
        )
        return dict(found.rows()) or None

    def source(self, record: str) -> str:
        """Return a record's table; a view of that name is made for the session beside it."""
        ((schema,),) = self.ask("select current_schema()").rows()
        return f'"{schema}".{record}'


@contextmanager
def _duckdb(records: str, scratch: Path) -> Iterator[Platform]:
    with duckdb.connect(str(scratch / "platform.duckdb")) as connection:
        yield DuckDb(connection, Path(records))


@contextmanager
def _spark(records: str, scratch: Path) -> Iterator[Platform]:
    from pyspark.sql import SparkSession

    if not (os.environ.get("JAVA_HOME") or shutil.which("java")):
        raise InputError("Spark runs on Java, and there is none.", try_next="Java 17 or newer")
    made = SparkSession.builder.appName("dwell")
    for name, value in SPARK.items():
        made = made.config(name, value)
    session = made.config("spark.local.dir", str(scratch)).getOrCreate()
    try:
        yield Spark(session, Path(records))
    finally:
        session.stop()


@contextmanager
def _postgres(records: str, scratch: Path) -> Iterator[Platform]:
    import psycopg

    connection: Any
    with psycopg.connect(records) as connection:
        connection.execute("set transaction isolation level repeatable read")
        yield Postgres(connection, scratch)
        connection.rollback()


_OPEN = {"duckdb": _duckdb, "spark": _spark, "postgres": _postgres}


@contextmanager
def open_platform(engine: str, records: str, scratch: Path) -> Iterator[Platform]:
    """Connect to an engine, for as long as the block lasts.

    Parameters
    ----------
    engine : {"duckdb", "spark", "postgres"}
    records : str
        The folder of the records; of PostgreSQL how to connect, without a password.
    scratch : Path
        A folder for what does not fit in memory.

    Raises
    ------
    InputError
        There is no such place, or the engine is not there.
    """
    with ExitStack() as stack:
        try:
            platform = stack.enter_context(_OPEN[engine](records, scratch))
        except ImportError:
            raise InputError(
                f"What speaks to {engine} is not installed.",
                try_next=f"pip install 'dwell-pipeline[{engine}]'",
            ) from None
        except DwellError:
            raise
        except Exception as error:  # its text can hold a password
            raise InputError(
                f"There is no connection to {engine} ({type(error).__name__}).",
                try_next="the place that --records names, and the engine's own client",
            ) from None
        yield platform
