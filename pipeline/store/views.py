"""The SQL of the store's views, made from the files of `sql/`."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import duckdb

from pipeline.resources import resource

# Stands in `sql/views` where the measures go, so that a new measure is one new file.
EVERY_MEASURE = "/* one select a file of sql/measures, united */"


def views_text() -> str:
    """Return the SQL of every view, in the order of the file names."""
    text = "\n".join(path.read_text(encoding="utf-8") for path in _paths())
    return text.replace(EVERY_MEASURE, every_measure())


def _paths() -> list[Path]:
    return sorted(resource("sql", "views").glob("*.sql"))


def every_measure() -> str:
    """Return the select of every file of `sql/measures`, named and united."""
    paths = sorted(resource("sql", "measures").glob("*.sql"))
    return "\nunion all\n".join(
        f"select '{path.stem}' as measure, episode_id, numerator, denominator\n"
        f"from (\n{path.read_text(encoding='utf-8')}\n) as {path.stem}"
        for path in paths
    )


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
    from pipeline.store import schema

    connection = duckdb.connect()
    schema.bring_up_to_date(connection)
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
    texts = [path.read_text(encoding="utf-8") for path in _paths()]
    at = next((i for i, text in enumerate(texts) if f"view {name} as" in text), len(texts))
    return at, name
