"""Bring a store to the schema of this version: numbered migrations, then the views."""

import hashlib
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipeline import __version__
from pipeline.errors import StoreError
from pipeline.resources import resource
from pipeline.store.kept_ready import READY, READY_COUNTS, make_ready, record_sums
from pipeline.store.one_row import count_of, first_row
from pipeline.store.views import views_text

Connection = duckdb.DuckDBPyConnection


@dataclass(frozen=True)
class Migration:
    """One numbered file of `sql/tables`."""

    number: int
    path: Path


def migrations() -> list[Migration]:
    """Return the migrations in the order in which they are applied."""
    paths = sorted(resource("sql", "tables").glob("[0-9]*.sql"))
    return [Migration(int(path.name.split("_")[0]), path) for path in paths]


def views_hash() -> str:
    """Return a digest of what this version brings beside records: views, and counts of them."""
    gathered = resource("sql", "gathered.sql").read_text(encoding="utf-8")
    parts = (views_text(), *READY, READY_COUNTS, record_sums(), gathered)
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def version_of(connection: Connection) -> int:
    """Return the number of the newest migration applied; 0 for an empty file.

    Raises
    ------
    StoreError
        The file is a database, but no store.
    """
    tables = {
        name
        for (name,) in connection.execute(
            "select table_name from duckdb_tables() where not internal and not temporary"
        ).fetchall()
    }
    if not tables:
        return 0
    if "schema_info" not in tables:
        raise StoreError("This DuckDB file is not a store of dwell: it holds other tables.")
    return count_of(connection, "select schema_version from schema_info")


def is_current(connection: Connection) -> bool:
    """Whether schema and views are those of this version; a newer schema is refused."""
    version, newest = version_of(connection), migrations()[-1].number
    if version > newest:
        raise StoreError(
            f"The store has schema {version}; dwell {__version__} knows up to {newest}.",
            try_next="a newer version of dwell, or the store's copy of before it was brought up",
        )
    if version < newest:
        return False
    row = first_row(connection, "select views_hash from schema_info")
    return row is not None and row[0] == views_hash()


def bring_up_to_date(connection: Connection) -> None:
    """Apply what is missing; the caller holds the transaction."""
    make_tables_and_views(connection)
    make_ready(connection)
    connection.execute("update schema_info set views_hash = ?", [views_hash()])


def make_tables_and_views(connection: Connection) -> None:
    """Apply the migrations that are missing, and make the views anew."""
    version = version_of(connection)
    if connection.execute("from duckdb_tables() where table_name = 'gathered'").fetchall():
        raise StoreError(
            "The store holds counts that were gathered under other definitions.",
            try_next="dwell gather into a new file",
        )
    if version == 0:
        connection.execute("create table schema_info (schema_version integer, views_hash varchar)")
        connection.execute("insert into schema_info values (0, null)")
    drop_views(connection)
    for migration in migrations():
        if migration.number > version:
            connection.execute(migration.path.read_text(encoding="utf-8"))
            connection.execute("update schema_info set schema_version = ?", [migration.number])
    text = views_text()
    if text.strip():
        connection.execute(text)


def drop_views(connection: Connection) -> None:
    """Drop every view, so that none is left that this version no longer has."""
    names = connection.execute("select view_name from duckdb_views() where not internal").fetchall()
    for (name,) in names:
        quoted = str(name).replace('"', '""')
        connection.execute(f'drop view if exists "{quoted}"')
