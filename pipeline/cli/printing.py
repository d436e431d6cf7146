"""Print a frame the same way everywhere: a table, CSV or JSON, on stdout."""

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.errors import RenderError

if TYPE_CHECKING:
    import polars as pl


def print_frame(frame: "pl.DataFrame", format_: str = "table") -> None:
    """Print `frame` on stdout as `format_`: table, csv or json."""
    if format_ == "csv":
        click.echo(frame.write_csv(), nl=False)
    elif format_ == "json":
        click.echo(to_json(frame.to_dicts()))
    else:
        click.echo("\n".join(table_lines(frame)))


def make_folder(folder: Path) -> None:
    """Make the folder that figures are drawn into; raises `RenderError`."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RenderError(f"Cannot make the folder {folder}: {error.strerror}.") from None


def to_json(value: Any) -> str:
    """Return JSON for rows and mappings; dates as ISO text."""
    return json.dumps(value, indent=2, default=str, ensure_ascii=False)


def table_lines(frame: "pl.DataFrame") -> list[str]:
    """Return a header and a line a row, columns aligned, numbers to the right."""
    numeric = [dtype.is_numeric() for dtype in frame.dtypes]
    rows = [list(frame.columns), *([_cell(v) for v in row] for row in frame.iter_rows())]
    widths = [max(len(row[i]) for row in rows) for i in range(len(frame.columns))]
    return [
        "  ".join(
            cell.rjust(width) if right else cell.ljust(width)
            for cell, width, right in zip(row, widths, numeric, strict=True)
        ).rstrip()
        for row in rows
    ]


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return f"{value:,}"
    if isinstance(value, float):
        return f"{value:,.4g}"
    return str(value)
