"""`dwell drift`: published figures that later data changed."""

from pathlib import Path

import click

from pipeline.cli.complete import quarter_names
from pipeline.cli.options import always_quiet_option, db_option, format_option, settings_option
from pipeline.cli.printing import print_frame


@click.command(epilog="Example: dwell drift 2025-Q4")
@click.argument("quarter", required=False, shell_complete=quarter_names)
@db_option
@settings_option
@format_option
@always_quiet_option
def drift(quarter: str | None, db: Path, settings: Path | None, format_: str) -> None:
    """List published figures that later data changed.

    One row a measure and site: what was published, what it is now, and why (new rows,
    corrections, maturity). Every frozen quarter unless QUARTER is given.
    """
    from pipeline.measures.published import drift as compare
    from pipeline.measures.quarters import check_quarter
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    with open_store(db) as store:
        if quarter is not None:
            check_quarter(store, quarter)
        frame = compare(store, quarter, load_settings(settings))
    if frame.is_empty() and format_ == "table":
        click.echo("Every published figure still stands.")
        return
    print_frame(frame, format_)
