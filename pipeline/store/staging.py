"""Read a file into a temporary table of typed values, each row with its verdict."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import duckdb

from pipeline.records.binding import CONFIRMED, SET_ASIDE_ID, Binding, bind
from pipeline.records.declaration import Kind, Record
from pipeline.records.layout import RECORDS
from pipeline.records.mapped import PLACED, bind_mapped, looked_up, placement_of
from pipeline.records.plan import RowCheck, make_plan, quote
from pipeline.records.sources import SourceFile
from pipeline.store.one_row import count_of
from pipeline.store.reading import CSV_FIRST, Relation, relation_of

Connection = duckdb.DuckDBPyConnection
PLACEMENTS = "placement_clock"
RAGGED = RowCheck(None, "has more or fewer cells than the header", "fault is not null")


@dataclass(frozen=True)
class Staged:
    """One file in a temporary table.

    Attributes
    ----------
    table : str
        Columns of the layout, `row`, `set_aside_id` and `check_no` (null: nothing is
        wrong with the row by itself).
    checks : tuple of Check
        What `check_no` stands for.
    patient : bool
        How the file has to be read again.
    """

    source: SourceFile
    record: Record
    binding: Binding
    table: str
    checks: tuple[RowCheck, ...]
    rows: int
    patient: bool


def stage(connection: Connection, source: SourceFile, number: int, as_of_month: str) -> Staged:
    """Read `source` into the temporary table ``stage_<number>``.

    Raises
    ------
    InputError
        The file is damaged or its columns are not those of the layout.
    """
    try:
        return _stage(connection, source, number, as_of_month, patient=False)
    except (duckdb.InvalidInputException, duckdb.ConversionException):
        return _stage(connection, source, number, as_of_month, patient=True)


def _stage(
    connection: Connection, source: SourceFile, number: int, as_of_month: str, *, patient: bool
) -> Staged:
    record, table = RECORDS[source.record], f"stage_{number}"
    with relation_of(connection, source, patient=patient) as relation:
        binding = bind_source(source, relation)
        plan = make_plan(record, binding.cells, as_of_month)
        checks = (RAGGED, *(_confirmable(check, binding) for check in plan.checks))
        values = ", ".join(f"{value} as {name}" for name, value in plan.values.items())
        cases = " ".join(f"when {check.fails} then {i}" for i, check in enumerate(checks))
        identifier = f"try_cast({binding.own.get(SET_ASIDE_ID, 'null')} as integer)"
        columns = (
            f"{', '.join(record.columns)}, {identifier} as {SET_ASIDE_ID},"
            f" (case {cases} end)::smallint as check_no"
        )
        # A mapping can look clock times up in another file, by a join.
        if relation.in_order is None or source.mapping is not None:
            numbered = with_placement(source, relation)
            connection.execute(_staged_sql(table, numbered, values, f"row, {columns}"))
        else:
            in_order = _staged_sql(f"{table}_in_order", relation.in_order, values, columns)
            _stage_in_order(connection, table, in_order)
    rows = count_of(connection, f"select count(*) from {table}")
    return Staged(source, record, binding, table, checks, rows, patient)


def drop_staged(connection: Connection) -> None:
    """Drop what a load keeps for its time alone: most of the memory it takes.

    The database frees it once no transaction can see it.
    """
    names = connection.execute(
        "select table_name from duckdb_tables() where temporary and not internal"
    ).fetchall()
    for (name,) in names:
        connection.execute(f"drop table temp.{quote(name)}")


def _staged_sql(table: str, rows: str, values: str, columns: str) -> str:
    return (
        f"create or replace temp table {table} as with source as ({rows}),"
        f" typed as (select *, {values} from source) select {columns} from typed"
    )


def _stage_in_order(connection: Connection, table: str, sql: str) -> None:
    """Stage rows by `sql`, each with the number of its place there, as in the file.

    They stand in the file's order as long as no join is between: the optimizer makes one of
    `in (...)` with six values and more.
    """
    connection.execute(sql)
    connection.execute(
        f"create or replace temp view {table} as"
        f" select rowid + {CSV_FIRST + 1} as row, * from {table}_in_order"
    )


def bind_source(source: SourceFile, relation: Relation, *, drop_unknown: bool = False) -> Binding:
    """Bind the file's columns, as its mapping says where there is one."""
    record, name = RECORDS[source.record], source.path.name
    if source.mapping is None:
        return bind(record, relation.columns, name, drop_unknown=drop_unknown)
    return bind_mapped(record, relation.columns, name, source.mapping, drop_unknown=drop_unknown)


def with_placement(source: SourceFile, relation: Relation) -> str:
    """Return SQL for the rows, each with its placement's clock time where that is asked for."""
    if source.mapping is None or looked_up(source.mapping) is None:
        return relation.sql
    key = bind_source(source, relation).cells["episode_id"].text
    return (
        f"select r.*, {PLACED} from ({relation.sql}) r left join {PLACEMENTS} on key = trim({key})"
    )


def note_placements(connection: Connection, sources: Sequence[SourceFile]) -> None:
    """Read clock times of placement from an episode's file, for the other files of this load.

    They live in a temporary table and are gone with the session.
    """
    columns = {looked_up(source.mapping) for source in sources if source.mapping} - {None}
    if not columns:
        return
    connection.execute(
        f"create or replace temp table {PLACEMENTS} (key varchar, {PLACED} timestamp)"
    )
    for source in sources:
        if source.record == "episode" and source.mapping is not None:
            with relation_of(connection, source, patient=True) as relation:
                key, clock = placement_of(source.mapping, relation.columns, str(columns.pop()))
                connection.execute(
                    f"insert into {PLACEMENTS} select {key}, any_value({clock})"
                    f" from ({relation.sql}) group by 1"
                )


def _confirmable(check: RowCheck, binding: Binding) -> RowCheck:
    """Let a questioned row pass where the file says that it was confirmed."""
    confirmed = binding.own.get(CONFIRMED)
    if not check.questioned or confirmed is None:
        return check
    return replace(
        check, fails=f"({check.fails}) and lower(trim(coalesce({confirmed}, ''))) <> 'yes'"
    )


def stored(record: Record) -> str:
    """Return SQL for the layout's columns in the types of the store."""
    return ", ".join(
        f"{field.name}::integer" if field.kind is Kind.INTEGER else field.name
        for field in record.fields
    )


def raw_json(binding: Binding, is_blank: str) -> str:
    """Return SQL for a row as it was sent, as JSON in the order of its columns.

    Where the SQL of `is_blank` holds, the columns are there without their cells.
    """
    pairs = ", ".join(
        f"{quote(name)} := case when not ({is_blank}) then {text} end"
        for name, text in binding.kept.items()
    )
    return f"to_json(struct_pack({pairs}))"


def is_blank(binding: Binding) -> str:
    """Return SQL that is true of a row of which no cell may be kept.

    In a row with too many or too few cells they may have shifted, so that one of a column
    that the mapping leaves out, free text perhaps, stands in one that is kept.
    """
    return RAGGED.fails if binding.leaves_out else "false"
