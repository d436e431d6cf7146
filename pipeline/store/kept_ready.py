"""What every figure is made from, kept as tables from one load to the next.

Opaque keys are long texts and every measure is joined by them, so each episode gets a
small whole number here, the measures are counted once by month and site, and each
record's rows are summed up for the fingerprint. The tables hold nothing that records and
views do not: they are made anew, in the same transaction, whenever records, views or
measures change.
"""

import duckdb

from pipeline.records.declaration import Kind, Record
from pipeline.records.layout import RECORDS
from pipeline.records.plan import quote
from pipeline.store.views import every_measure

READY = ("episode_dwell", "contact_summary", "contact_symptom", "serious_event")
# Counts of every measure by month and site, under the settings' defaults.
READY_COUNTS = "ready_measure_count"
# How many rows each record has, and a sum over them that changes when one does.
RECORD_SUMS = "ready_record_sum"
COUNTED_BY = ("placed_month", "placed_quarter", "site")


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
    _count_measures(connection)
    connection.execute("drop table temp.numbered")
    connection.execute(f"create or replace table {RECORD_SUMS} as {record_sums()}")


def record_sums() -> str:
    """Return SQL that sums a digest of every row: the order of rows does not matter then.

    Half of the digest as it is written: the database's own number of it takes thrice the time.
    """
    return " union all ".join(
        f"select '{record.name}' as record, count(*) as rows,"
        f" coalesce(sum(('0x' || left(md5({_as_text(record)}), 16))::ubigint), 0) as total"
        f" from {record.name}"
        for record in RECORDS.values()
    )


def _as_text(record: Record) -> str:
    """Return SQL for a row as a text of its own: no cell holds an empty text or chr(31).

    Of all its yes, no and not known one number is made: as texts they take a third of the time.
    """
    told = [f.name for f in record.fields if f.kind is not Kind.YES_NO]
    answers = [f.name for f in record.fields if f.kind is Kind.YES_NO]
    packed = (
        f"case when {name} then {2 * 3**i} when not {name} then {3**i} else 0 end::bigint"
        for i, name in enumerate(answers)
    )
    return f"concat({', chr(31), '.join([*told, ' + '.join(packed) or '0'])})"


def counts_sql(measures: str) -> str:
    """Return the counts that make rates, and where from: the middle of a select.

    `measures` is the name, or the SQL, of rows that hold `numerator` and `denominator`.
    """
    # Sums of decimals do not depend on the order of the rows, sums of doubles do.
    known = "numerator is not null and denominator > 0"
    return f"""
            sum(case when {known} then cast(numerator as bigint) end) as numerator,
            sum(case when {known} then cast(denominator as decimal(18, 12)) end) as denominator,
            sum(case when numerator is null then cast(denominator as decimal(18, 12)) end)
                as missing_denominator,
            count(case when denominator is null or denominator > 0 then 1 end) as episodes,
            count(case when {known} then 1 end) as ascertained,
            count(case when {known} and numerator > 0 then 1 end) as with_event
        from {measures}"""


def _count_measures(connection: duckdb.DuckDBPyConnection) -> None:
    """Count every measure by month and site.

    The measures' own SQL runs under its usual names: views of the session stand before the
    store's own and bring the small numbers in the place of the long keys.
    """
    keyed = _keyed(connection)
    for name, select in keyed.items():
        connection.execute(f'create temp view "{name}" as {select}')
    columns = ", ".join(COUNTED_BY)
    connection.execute(
        f"create or replace table {READY_COUNTS} as"
        f" with every_measure as ({every_measure()})"
        f" select measure, {columns}, {counts_sql('every_measure')}"
        f" inner join {ready('episode_dwell')} as dwell on every_measure.episode_id = dwell.number"
        f" group by measure, {columns}"
    )
    for name in keyed:
        connection.execute(f'drop view temp."{name}"')


def _keyed(connection: duckdb.DuckDBPyConnection) -> dict[str, str]:
    """Return the selects with small numbers, by the names of what they stand for.

    Other views are made of these, so they need none.
    """
    tables = connection.execute(
        "select database_name, schema_name, table_name from duckdb_columns()"
        " inner join duckdb_tables() using (database_name, schema_name, table_name)"
        " where column_name = 'episode_id' and not duckdb_tables.temporary"
    ).fetchall()
    keyed = {
        name: "select numbered.number as episode_id, source.* exclude (episode_id)"
        f" from {quote(database)}.{quote(schema)}.{quote(name)} as source"
        " inner join numbered on source.episode_id = numbered.episode_id"
        for database, schema, name in tables
    }
    for name in READY:
        keyed.pop(ready(name), None)
        keyed[name] = keyed_select(name)
    return keyed


def keyed_select(name: str) -> str:
    """Return the select of a view that is kept ready, its number as `episode_id`."""
    return f"select number as episode_id, * exclude (number, episode_id) from {ready(name)}"
