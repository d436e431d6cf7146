"""The views and their comments, for the data dictionary."""

from dataclasses import dataclass
from functools import cache

import duckdb

from pipeline.store import schema
from pipeline.store.views import view_files


@dataclass(frozen=True)
class ViewColumn:
    """A column of a view: what it is called, how it is stored, what it means."""

    name: str
    type: str
    description: str


@dataclass(frozen=True)
class View:
    """A view that people query; its description begins with what one row is."""

    name: str
    description: str
    columns: tuple[ViewColumn, ...]


@cache
def describe_views() -> tuple[View, ...]:
    """Return the views and their comments, as a store of this version holds them.

    No store is needed: an empty one is made in memory.
    """
    connection = duckdb.connect()
    schema.make_tables_and_views(connection)
    views = connection.execute(
        "select view_name, comment from duckdb_views() where not internal"
    ).fetchall()
    columns = connection.execute(
        "select table_name, column_name, data_type, comment from duckdb_columns()"
        " where not internal order by column_index"
    ).fetchall()
    connection.close()
    return tuple(
        View(
            name,
            text or "",
            tuple(
                ViewColumn(column, kind.lower(), comment or "")
                for view, column, kind, comment in columns
                if view == name
            ),
        )
        for name, text in sorted(views, key=lambda view: _place(view[0]))
    )


def _place(name: str) -> tuple[int, str]:
    """Order views as their files stand; those of one file by name."""
    texts = [path.read_text(encoding="utf-8") for path in view_files()]
    at = next((i for i, text in enumerate(texts) if f"view {name} as" in text), len(texts))
    return at, name
