"""Make the de-identified files of a site from its raw export, on the site's own machine."""

import csv
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipeline.errors import InputError, UsageError
from pipeline.outputs import plain_output_errors, written_beside
from pipeline.records.binding import Binding
from pipeline.records.declaration import Field, Kind, Record
from pipeline.records.keys import IDENTIFIERS, pseudonym
from pipeline.records.layout import RECORDS
from pipeline.records.plan import ReadingPlan, make_plan
from pipeline.records.sources import SourceFile
from pipeline.store.connection import SPILL, owner_only, plain_errors
from pipeline.store.one_row import count_of, first_row
from pipeline.store.reading import Relation, relation_of
from pipeline.store.staging import RAGGED, bind_source, note_placements, with_placement

AT_ONCE = 10_000


@dataclass(frozen=True)
class Deidentified:
    """What was made of one file.

    Attributes
    ----------
    path : Path
        The de-identified file, in the canonical layout.
    dropped : tuple of str
        Columns of the raw file of which nothing is left.
    left_empty : dict of str to int
        By column of the layout: values that could not be read and were left empty.
    """

    path: Path
    rows: int
    dropped: tuple[str, ...]
    left_empty: dict[str, int]


def pseudonymise_files(sources: Sequence[SourceFile], out: Path, key: bytes) -> list[Deidentified]:
    """Write each source as ``out/RECORD.csv``: keyed hashes, hours, whole years, nothing else.

    Raises
    ------
    InputError
        A file cannot be read, a needed column is missing, or a row has too many or too
        few cells.
    UsageError
        `out` holds such a file already.
    RenderError
        It cannot be written.
    """
    for source in sources:
        if (out / f"{source.record}.csv").exists():
            raise UsageError(f"{out / source.record}.csv exists already; it is left as it is.")
    with (
        owner_only(),
        duckdb.connect(config=SPILL) as connection,
        plain_errors(out),
    ):
        with plain_output_errors(out):
            out.mkdir(parents=True, exist_ok=True)
        note_placements(connection, sources)
        with ExitStack() as files:  # all files or none
            return [
                _one(connection, source, out / f"{source.record}.csv", key, files)
                for source in sources
            ]


def _one(
    connection: duckdb.DuckDBPyConnection,
    source: SourceFile,
    path: Path,
    key: bytes,
    files: ExitStack,
) -> Deidentified:
    record, part = RECORDS[source.record], files.enter_context(written_beside(path))
    with relation_of(connection, source, patient=True) as relation:
        _require_even_rows(connection, source, relation)
        binding = bind_source(source, relation, drop_unknown=True)
        plan = make_plan(record, binding.cells, "9999-12")
        columns = [name for name in record.columns if name in binding.cells]
        left_empty = _left_empty(connection, source, relation, plan, columns)
        rows = _rows(connection, source, relation, plan, columns)
        count = _write(part, record, columns, rows, key)
    return Deidentified(path, count, _dropped(relation, binding), left_empty)


def _require_even_rows(
    connection: duckdb.DuckDBPyConnection, source: SourceFile, relation: Relation
) -> None:
    """Refuse a file whose cells may have shifted from a dropped column into one that stays."""
    found = first_row(
        connection, f"select min(row), count(*) from ({relation.sql}) where {RAGGED.fails}"
    )
    if found and found[1]:
        raise InputError(
            f"{source.path.name}: row {found[0]:,} {RAGGED.rule}, one of {found[1]:,};"
            " nothing was written.",
            try_next="again with such rows corrected in the raw file",
        )


def _typed(
    source: SourceFile, relation: Relation, plan: ReadingPlan, columns: Sequence[str]
) -> str:
    values = ", ".join(f"{plan.values[name]} as {name}" for name in columns)
    return f"(select *, {values} from ({with_placement(source, relation)}))"


def _rows(
    connection: duckdb.DuckDBPyConnection,
    source: SourceFile,
    relation: Relation,
    plan: ReadingPlan,
    columns: Sequence[str],
) -> Iterator[tuple[object, ...]]:
    connection.execute(
        f"select {', '.join(columns)} from {_typed(source, relation, plan, columns)} order by row"
    )
    while rows := connection.fetchmany(AT_ONCE):
        yield from rows


def _left_empty(
    connection: duckdb.DuckDBPyConnection,
    source: SourceFile,
    relation: Relation,
    plan: ReadingPlan,
    columns: Sequence[str],
) -> dict[str, int]:
    """Count by column the values that are there but cannot be read."""
    found: dict[str, int] = {}
    typed = _typed(source, relation, plan, columns)
    for check in plan.checks:
        if check.column is not None and check.column in columns and check.drops_value:
            rows = count_of(
                connection,
                f"select count(*) from (select {check.fails} as f from {typed}) where f",
            )
            if rows:
                found[check.column] = found.get(check.column, 0) + rows
    return found


def _write(
    path: Path,
    record: Record,
    columns: Sequence[str],
    rows: Iterator[tuple[object, ...]],
    key: bytes,
) -> int:
    fields = [record.field(name) for name in columns]
    count = 0
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(columns)
        for row in rows:
            writer.writerow(_spelt(f, v, key) for f, v in zip(fields, row, strict=True))
            count += 1
    return count


def _spelt(field: Field, value: object, key: bytes) -> object:
    """Write a value as the canonical layout has it; identifiers as keyed hashes."""
    if value is None:
        return ""
    if field.name in IDENTIFIERS:
        return pseudonym(key, field.name, str(value))
    if field.kind is Kind.YES_NO:
        return "yes" if value else "no"
    if isinstance(value, float) and (field.kind is Kind.INTEGER or value.is_integer()):
        return int(value // 1)  # an age of 9.8 years is 9
    return value


def _dropped(relation: Relation, binding: Binding) -> tuple[str, ...]:
    return tuple(name for name in relation.columns if name not in binding.kept)
