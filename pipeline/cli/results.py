"""Run a query and print or write its rows: table, CSV, JSON, Parquet or XLSX."""

import csv
import io
import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import suppress
from itertools import chain, islice
from pathlib import Path
from textwrap import indent
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.options import Decorator
from pipeline.cli.printing import aligned, to_json
from pipeline.errors import InputError, UsageError
from pipeline.outputs import spreadsheet_text, written_beside

if TYPE_CHECKING:
    import pyarrow as pa

    from pipeline.store.adhoc import Parameters, QueryBatches, QueryResult, QuerySession

PRINTED = ("table", "csv", "json")
WRITTEN = ("csv", "json", "parquet", "xlsx")
EXPLAINED = ("explain_key", "explain_value")  # what `explain` gives: a drawing of lines
LINES_AT_ONCE = 1000
SHEET_ROWS = 1_048_575  # what a sheet holds below its header

row_format_option: Decorator = click.option(
    "--format",
    "format_",
    type=click.Choice(["table", "csv", "json", "parquet", "xlsx"]),
    help="table, or what the name of --out says, unless given; parquet and xlsx need --out.",
)
row_out_option: Decorator = click.option(
    "--out", type=click.Path(dir_okay=False, path_type=Path), help="Write the rows to this file."
)


def check_format(format_: str | None, out: Path | None) -> str:
    """Return the format in which rows are printed, or written to `out`.

    Raises
    ------
    UsageError
        The format cannot be printed, or the name of `out` says none.
    """
    if out is None:
        if (format_ or "table") not in PRINTED:
            raise UsageError(f"{format_} is written to a file.", try_next=f"--out FILE.{format_}")
        return format_ or "table"
    found = format_ or out.suffix.removeprefix(".").lower()
    if found not in WRITTEN:
        raise UsageError(
            f"{out.name} does not say in which format to write.",
            try_next="a name that ends in .csv, .json, .parquet or .xlsx",
        )
    return found


def give(
    queries: "QuerySession",
    sql: str,
    parameters: "Parameters",
    format_: str,
    out: Path | None,
    *,
    quiet: bool,
) -> None:
    """Run a select and print its rows, or write them to `out`.

    Parameters
    ----------
    queries : QuerySession
        Where the select runs; raises as `Desk.run` does.
    sql, parameters
        The select, and the values bound in it.
    format_ : str
        As :func:`check_format` gives it.
    out : Path or None
        The file; None prints on stdout.
    quiet : bool
        Say nothing on stderr.

    Raises
    ------
    InputError
        `out` cannot be written, or cannot hold what was found.
    """
    if format_ in {"parquet", "xlsx"}:
        assert out is not None
        batches = queries.batches(sql, parameters)
        rows, is_cut = batches.count, batches.is_cut
        with written_beside(out) as part:
            _write_columns(batches, format_, part)
    else:
        result = queries.run(sql, parameters)
        rows, is_cut = result.count, result.is_cut
        if out is None:
            _print(result, format_)
        else:
            with written_beside(out) as part, part.open("w", encoding="utf-8", newline="") as file:
                file.writelines(_lines(result, format_))
    if not quiet:
        click.echo(_counted(rows, is_cut), err=True)


def _counted(rows: int, is_cut: bool) -> str:
    from pipeline.words.numbers import count

    cut = "; there are more, see --max-rows" if is_cut else ""
    return f"{count(rows, 'row')}{cut}."


def _print(result: "QueryResult", format_: str) -> None:
    lines = _lines(result, format_)
    is_long = format_ == "table" and result.count + 2 > shutil.get_terminal_size().lines
    if is_long and sys.stdout.isatty():
        # Columns stay on one line; `less` scrolls sideways.
        os.environ.setdefault("LESS", "-SFRX")
        click.echo_via_pager(lines)
        return
    while some := "".join(islice(lines, LINES_AT_ONCE)):
        click.echo(some, nl=False)


def _lines(result: "QueryResult", format_: str) -> Iterator[str]:
    """Give what is printed or written, in pieces: the rows are never held as text at once."""
    return {"table": _table, "csv": _csv, "json": _json}[format_](result)


def _table(result: "QueryResult") -> Iterator[str]:
    if result.columns == EXPLAINED:
        return (f"{text}\n" for _, text in result)
    return (f"{line}\n" for line in aligned(result.columns, result))


def _csv(result: "QueryResult") -> Iterator[str]:
    """Give RFC 4180 text with a header; yes/no as in the record files."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    for row in chain([result.columns], result):
        writer.writerow([_plain(value) for value in row])
        yield text.getvalue()
        text.seek(0)
        text.truncate()


def _json(result: "QueryResult") -> Iterator[str]:
    """Give a list of rows, each a mapping by column."""
    names, before = _distinct(result.columns), "[\n"
    for row in result:
        yield before + indent(to_json(dict(zip(names, row, strict=True))), "  ")
        before = ",\n"
    yield "\n]\n" if result.count else "[]\n"


def _distinct(columns: tuple[str, ...]) -> list[str]:
    """Return the names, repeats numbered, so that no column is lost."""
    seen: dict[str, int] = {}
    names = []
    for column in columns:
        seen[column] = seen.get(column, 0) + 1
        names.append(column if seen[column] == 1 else f"{column}_{seen[column]}")
    return names


def _plain(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return spreadsheet_text(value) if isinstance(value, str) else value


def _write_columns(found: "QueryBatches", format_: str, path: Path) -> None:
    import pyarrow as pa

    table = _whole_numbers(pa.Table.from_batches(found.batches, schema=found.schema))
    table = table.rename_columns(_distinct(tuple(found.schema.names)))
    try:
        if format_ == "parquet":
            from pyarrow import parquet

            parquet.write_table(table, path, compression="zstd")
        else:
            _write_sheet(table, path)
    except (pa.ArrowException, NotImplementedError) as error:
        raise InputError(
            f"A column is of a type that {format_} cannot hold.", try_next="cast it to varchar"
        ) from error


def _whole_numbers(table: "pa.Table") -> "pa.Table":
    """Give sums of whole numbers as such, where they fit; they come as decimals of 38 digits."""
    import pyarrow as pa

    for i, field in enumerate(table.schema):
        if field.type == pa.decimal128(38, 0):
            with suppress(pa.ArrowInvalid):
                table = table.set_column(i, field.name, table.column(i).cast(pa.int64()))
    return table


def _write_sheet(table: "pa.Table", path: Path) -> None:
    import polars as pl
    import xlsxwriter

    if table.num_rows > SHEET_ROWS:
        raise InputError(f"A sheet holds {SHEET_ROWS:,} rows.", try_next="--out FILE.parquet")
    # Text that begins with = or @ stays text: a sheet must not run what a cell says.
    options = {"strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(str(path), options) as workbook:
        pl.DataFrame(pl.from_arrow(table)).write_excel(workbook, worksheet="result")
