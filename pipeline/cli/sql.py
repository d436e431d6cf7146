"""`dwell sql`: any select on the store, typed, from a file, or at a prompt."""

import sys
from pathlib import Path

import click

from pipeline.cli.options import db_option, quiet_option, settings_option
from pipeline.cli.results import check_format, give, row_format_option, row_out_option
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
@row_format_option
@row_out_option
@click.option(
    "--time-limit",
    type=click.FloatRange(min=0.1, max=1_000_000),
    metavar="SECONDS",
    default=60.0,
    show_default=True,
    help="Stop the query after this time.",
)
@click.option(
    "--memory-limit",
    metavar="AMOUNT",
    default="2GB",
    show_default=True,
    help="Stop a query that needs more, such as 500MB or 4GB.",
)
@click.option(
    "--max-rows",
    type=click.IntRange(min=1),
    metavar="NUMBER",
    default=1_000_000,
    show_default=True,
    help="Give no more rows than this.",
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
    from pipeline.store.adhoc import open_queries
    from pipeline.store.query_limits import QueryLimits

    text = _text_of(query, file)
    limits = QueryLimits(time_limit, memory_limit, max_rows)
    kind = check_format(format_, out)
    if text is None and out is not None:
        raise UsageError("--out takes the rows of one query.", try_next="--out with a QUERY")
    with open_queries(db, settings=load_settings(settings), limits=limits) as queries:
        if text is None:
            from pipeline.cli.prompt import converse

            converse(queries, kind, quiet=quiet)
        else:
            give(queries, text, {}, kind, out, quiet=quiet)


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
