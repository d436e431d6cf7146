"""Print or write the rows of a query: table, CSV, JSON, Parquet or XLSX."""

import csv
import io
import os
import shutil
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.commands.printing import to_json
from pipeline.errors import InputError, UsageError

if TYPE_CHECKING:
    from pipeline.store.adhoc import Result

PRINTED = ("table", "csv", "json")
WRITTEN = ("csv", "json", "parquet", "xlsx")
CAUTION = (
    "Not checked for small cells: for the desk, not for sharing. "
    "`dwell measures` and `dwell report` withhold them."
)


def give(result: "Result", format_: str | None, out: Path | None, *, quiet: bool) -> None:
    """Print the rows, or write them to `out` in the format that its name says.

    Raises
    ------
    UsageError
        The format cannot be printed, or the name of `out` says none.
    InputError
        `out` cannot be written.
    """
    if out is not None:
        _write(result, _format_of(out, format_), out)
    elif (format_ or "table") not in PRINTED:
        raise UsageError(f"{format_} is written to a file.", try_next=f"--out FILE.{format_}")
    else:
        _print(result, format_ or "table")
    if not quiet:
        click.echo(_closing(result), err=True)


def _closing(result: "Result") -> str:
    rows = f"{len(result.rows):,} row{'' if len(result.rows) == 1 else 's'}"
    cut = "; there are more, see --max-rows" if result.is_cut else ""
    return f"{rows}{cut}. {CAUTION}"


def _print(result: "Result", format_: str) -> None:
    text = {"table": as_table, "csv": as_csv, "json": as_json}[format_](result)
    is_long = format_ == "table" and len(result.rows) + 2 > shutil.get_terminal_size().lines
    if is_long and sys.stdout.isatty():
        # Columns stay on one line; `less` scrolls sideways.
        os.environ.setdefault("LESS", "-SFRX")
        click.echo_via_pager(text)
    else:
        click.echo(text, nl=format_ != "csv")


def as_table(result: "Result") -> str:
    """Return a header and a line a row, aligned; numbers to the right."""
    columns = list(zip(*result.rows, strict=True)) or [() for _ in result.columns]
    right = [all(_is_number(v) for v in column if v is not None) for column in columns]
    lines = [list(result.columns), *([_shown(value) for value in row] for row in result.rows)]
    widths = [max(len(line[i]) for line in lines) for i in range(len(result.columns))]
    return "\n".join(
        "  ".join(
            cell.rjust(width) if is_right else cell.ljust(width)
            for cell, width, is_right in zip(line, widths, right, strict=True)
        ).rstrip()
        for line in lines
    )


def as_csv(result: "Result") -> str:
    """Return RFC 4180 text with a header; yes/no as in the record files."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(result.columns)
    writer.writerows([[_plain(value) for value in row] for row in result.rows])
    return text.getvalue()


def as_json(result: "Result") -> str:
    """Return a list of rows, each a mapping by column."""
    return to_json([_mapping(result, row) for row in result.rows])


def _mapping(result: "Result", row: tuple[Any, ...]) -> dict[str, Any]:
    from decimal import Decimal

    values = [float(value) if isinstance(value, Decimal) else value for value in row]
    return dict(zip(_distinct(result.columns), values, strict=True))


def _distinct(columns: tuple[str, ...]) -> list[str]:
    """Return the names, repeats numbered, so that no column is lost."""
    seen: dict[str, int] = {}
    names = []
    for column in columns:
        seen[column] = seen.get(column, 0) + 1
        names.append(column if seen[column] == 1 else f"{column}_{seen[column]}")
    return names


def _is_number(value: Any) -> bool:
    from decimal import Decimal

    return isinstance(value, int | float | Decimal) and not isinstance(value, bool)


def _plain(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value


def _shown(value: Any) -> str:
    """Return a value as the table shows it; control characters cannot reach the terminal."""
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.6g}"
    text = str(_plain(value))
    return "".join(char if char.isprintable() else "�" for char in text)


def _format_of(out: Path, format_: str | None) -> str:
    found = format_ or out.suffix.removeprefix(".").lower()
    if found not in WRITTEN:
        raise UsageError(
            f"{out.name} does not say in which format to write.",
            try_next="a name that ends in .csv, .json, .parquet or .xlsx",
        )
    return found


def _write(result: "Result", format_: str, out: Path) -> None:
    part = out.with_name(f".{out.name}.part")
    try:
        if format_ == "csv":
            part.write_text(as_csv(result), encoding="utf-8")
        elif format_ == "json":
            part.write_text(as_json(result) + "\n", encoding="utf-8")
        else:
            _write_frame(result, format_, part)
        part.chmod(0o600)
        part.replace(out)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise InputError(f"Cannot write {out}: {error.strerror}.") from error


def _write_frame(result: "Result", format_: str, path: Path) -> None:
    import polars as pl

    frame = pl.DataFrame(
        result.rows, schema=_distinct(result.columns), orient="row", infer_schema_length=None
    )
    if format_ == "parquet":
        frame.write_parquet(path)
        return
    import xlsxwriter

    # Text that begins with = or @ stays text: a sheet must not run what a cell says.
    options = {"strings_to_formulas": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(str(path), options) as workbook:
        frame.write_excel(workbook, worksheet="result")
