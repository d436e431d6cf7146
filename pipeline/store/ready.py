"""The views that every measure reads, kept as tables from one load to the next.

Opaque keys are long texts and every measure is joined by them, so each episode gets a
small whole number here. The tables hold nothing that the views do not: they are made
anew, in the same transaction, whenever records or views change.
"""

import duckdb

READY = ("episode_dwell", "contact_summary")


def ready(name: str) -> str:
    """Return the name of the table that holds the rows of a view."""
    return f"ready_{name}"


def make_ready(connection: duckdb.DuckDBPyConnection) -> None:
    """Make the tables from the views; the caller holds the transaction."""
    connection.execute(
        "create or replace temp table numbered as"
        " select episode_id, cast(row_number() over () as integer) as number from episode"
    )
    for name in READY:
        connection.execute(
            f"create or replace table {ready(name)} as"
            f" select numbered.number, source.* from {name} as source"
            " inner join numbered on source.episode_id = numbered.episode_id"
        )
    connection.execute("drop table numbered")
