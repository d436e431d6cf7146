"""`dwell freeze`: keep the figures and signals of a quarter as published."""

from pathlib import Path

import click

from pipeline.cli.complete import quarter_names
from pipeline.cli.options import db_option, quiet_option, settings_option


@click.command(epilog="Example: dwell freeze 2025-Q4")
@click.argument("quarter", shell_complete=quarter_names)
@db_option
@settings_option
@quiet_option
def freeze(quarter: str, db: Path, settings: Path | None, quiet: bool) -> None:
    """Keep the figures of a quarter as published, and its list of signals.

    `dwell drift` compares the figures with what the store says later, and the next
    quarter's report says by the list which signals are new. A quarter that is frozen
    again gets a new edition; the earlier ones stay.
    """
    from pipeline.answers.signals import quarter_signals
    from pipeline.measures.published import freeze as keep
    from pipeline.measures.quarters import check_quarter
    from pipeline.settings import load_settings
    from pipeline.store import open_store, require_store

    require_store(db)
    values = load_settings(settings)
    with open_store(db, read_only=False) as store:
        check_quarter(store, quarter)
        edition = keep(store, quarter, values)
        quarter_signals(store, quarter, settings=values).keep_in(store)
    if not quiet:
        click.echo(
            f"Figures and signals of {quarter} are kept as published, edition {edition}.", err=True
        )
