"""`dwell sql`: any select on the store, typed, from a file, or at a prompt."""

import sys
from pathlib import Path

import click

from pipeline.commands.options import db_option, quiet_option, settings_option
from pipeline.commands.results import PRINTED, WRITTEN, give
from pipeline.errors import InputError, UsageError


@click.command(
    epilog='Example: dwell sql "select reason, count(*) from episode_dwell group by reason"'
)
@click.argument("query", required=False)
@click.option(
    "--file",
    "file",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Read the select from a file; - reads it from stdin.",
)
@click.option(
    "--format",
    "format_",
    type=click.Choice(sorted({*PRINTED, *WRITTEN})),
    help="table where nothing is said; parquet and xlsx need --out.",
)
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), help="Write to this file.")
@click.option(
    "--time-limit", type=click.FloatRange(min=0.1), default=60.0, show_default=True, help="Seconds."
)
@click.option("--memory-limit", default="2GB", show_default=True, help="Such as 500MB or 4GB.")
@click.option(
    "--max-rows", type=click.IntRange(min=1), default=1_000_000, show_default=True, help="Rows."
)
@db_option
@settings_option
@quiet_option
def sql(
    *,
    query: str | None,
    file: Path | None,
    format_: str | None,
    out: Path | None,
    time_limit: float,
    memory_limit: str,
    max_rows: int,
    db: Path,
    settings: Path | None,
    quiet: bool,
) -> None:
    """Ask the store anything in SQL; nothing can be changed.

    Without a QUERY a prompt opens. A query reads the store alone: no other file
    and no network. `dwell dictionary` describes the tables, views and columns.
    """
    from pipeline.settings import load_settings
    from pipeline.store.adhoc import Limits, open_desk

    text = _text_of(query, file)
    limits = Limits(time_limit, _memory(memory_limit), max_rows)
    with open_desk(db, settings=load_settings(settings), limits=limits) as desk:
        if text is None:
            from pipeline.commands.prompt import converse

            converse(desk, quiet=quiet)
        else:
            give(desk.run(text), format_, out, quiet=quiet)


def _text_of(query: str | None, file: Path | None) -> str | None:
    """Return the query; None where a prompt is wanted."""
    if query is not None and file is not None:
        raise UsageError("A query comes from the line or from a file, not from both.")
    if query is not None:
        return query
    if file is None and sys.stdin.isatty():
        return None
    if file is None or str(file) == "-":
        return sys.stdin.read()
    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"Cannot read {file}.") from error


def _memory(text: str) -> str:
    import re

    if not re.fullmatch(r"\d+(\.\d+)?\s*[KMGT]i?B", text, re.IGNORECASE):
        raise UsageError(f"{text} is no amount of memory.", try_next="--memory-limit 2GB")
    return text
