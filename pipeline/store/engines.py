"""The engines that records can be in: each a connection, and what it holds."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import duckdb

from pipeline.errors import InputError
from pipeline.records.plan import literal
from pipeline.store.platform import Platform

if TYPE_CHECKING:
    import polars as pl


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


@contextmanager
def open_platform(engine: str, records: str, scratch: Path) -> Iterator[Platform]:
    """Connect to an engine, for as long as the block lasts.

    Parameters
    ----------
    engine : {"duckdb"}
    records : str
        The folder of the records.
    scratch : Path
        A folder for what does not fit in memory.

    Raises
    ------
    InputError
        There is no such place, or the engine is not there.
    """
    if engine != "duckdb":
        raise InputError(f"There is no engine {engine}.", try_next="duckdb")
    with duckdb.connect(str(scratch / "platform.duckdb")) as connection:
        yield DuckDb(connection, Path(records))
