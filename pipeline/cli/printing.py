"""Print a frame the same way everywhere: a table, CSV or JSON, on stdout."""

import json
from collections.abc import Iterable, Iterator, Sequence
from decimal import Decimal
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.errors import RenderError
from pipeline.outputs import spreadsheet_text
from pipeline.words.desk import CONFIDENTIAL
from pipeline.words.numbers import json_number

if TYPE_CHECKING:
    import polars as pl

GROUPED = 10_000  # from here on digits stand in groups of three: 2025 is a year


_IS_SAID = "pipeline.cli.printing.is_said"


def keep_quiet(ctx: click.Context, _: click.Parameter, value: bool) -> bool:
    """Note that nothing is to be said on stderr; what an option of that name calls."""
    ctx.meta[_IS_SAID] = value
    return value


def say_confidential() -> None:
    """Say on stderr, once a command and unless it is quiet, for whose eyes its counts are."""
    meta = click.get_current_context().meta
    if not meta.get(_IS_SAID):
        click.echo(CONFIDENTIAL, err=True)
    meta[_IS_SAID] = True


def print_frame(frame: "pl.DataFrame", format_: str = "table") -> None:
    """Print `frame` on stdout as `format_`: table, csv or json."""
    if format_ == "csv":
        click.echo(_safe(frame).write_csv(), nl=False)
    elif format_ == "json":
        click.echo(to_json(frame.to_dicts()))
    else:
        click.echo("\n".join(table_lines(frame)))


def _safe(frame: "pl.DataFrame") -> "pl.DataFrame":
    import polars as pl

    texts = pl.col(pl.String)
    return frame.with_columns(texts.map_elements(spreadsheet_text, return_dtype=pl.String))


def make_folder(folder: Path) -> None:
    """Make the folder that figures are drawn into; raises `RenderError`."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RenderError(f"Cannot make the folder {folder}: {error.strerror}.") from None


def to_json(value: Any) -> str:
    """Return JSON for rows and mappings; dates as ISO text, numbers as `json_number` says."""
    return json.dumps(_plain(value), indent=2, default=str, ensure_ascii=False, allow_nan=False)


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {name: _plain(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    return json_number(float(value)) if isinstance(value, float | Decimal) else value


def table_lines(frame: "pl.DataFrame") -> list[str]:
    """Return a header and a line a row, columns aligned, numbers to the right."""
    return list(aligned(frame.columns, frame.rows()))


def aligned(columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[str]:
    """Give a header and a line a row, columns aligned, those of numbers to the right.

    `rows` are gone through twice, so that the lines need not be held.
    """
    widths, right = [len(column) for column in columns], [True for _ in columns]
    for row in rows:
        for i, value in enumerate(row):
            widths[i] = max(widths[i], len(_cell(value)))
            right[i] = right[i] and (value is None or _is_number(value))
    for line in chain([columns], rows):
        cells = [_cell(value) for value in line]
        yield "  ".join(
            cell.rjust(width) if is_right else cell.ljust(width)
            for cell, width, is_right in zip(cells, widths, right, strict=True)
        ).rstrip()


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float | Decimal) and not isinstance(value, bool)


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return f"{value:,}" if abs(value) >= GROUPED else str(value)
    if isinstance(value, float):
        return f"{value:,.6g}"
    # No control character reaches the terminal.
    return "".join(
        char if char.isprintable() else "\N{REPLACEMENT CHARACTER}" for char in str(value)
    )
