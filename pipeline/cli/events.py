"""`dwell events`: the serious events, and whether each was reviewed."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.options import (
    db_option,
    format_option,
    from_option,
    quiet_option,
    settings_option,
    site_option,
    to_option,
)
from pipeline.cli.printing import print_frame, to_json

if TYPE_CHECKING:
    import polars as pl


@click.command(epilog="Example: dwell events --from 2025-10 --to 2025-12 --not-reviewed")
@click.option("--not-reviewed", is_flag=True, help="Only those that nobody has reviewed.")
@site_option
@from_option
@to_option
@db_option
@settings_option
@format_option
@quiet_option
def events(
    *,
    not_reviewed: bool,
    sites: tuple[str, ...],
    first: str | None,
    last: str | None,
    db: Path,
    settings: Path | None,
    format_: str,
    quiet: bool,
) -> None:
    """List the serious events and whether each was reviewed.

    Listed are those that were recorded, and those that contacts, visits and removals tell
    of where nobody recorded one. Months are those of placement.
    """
    from pipeline.answers.events import serious_events
    from pipeline.settings import load_settings
    from pipeline.store import open_store
    from pipeline.words.numbers import count

    with open_store(db) as store:
        found = serious_events(
            store, sites=sites, first=first, last=last, settings=load_settings(settings)
        )
    if not quiet:
        found_words = f"{count(found.count, 'event')}, {found.not_reviewed.height:,} not reviewed."
        click.echo(found_words, err=True)
    if format_ == "json":
        click.echo(to_json(found.as_json()))
        return
    rows = found.not_reviewed if not_reviewed else found.frame()
    print_frame(_in_words(rows) if format_ == "table" else rows, format_)


def _in_words(rows: "pl.DataFrame") -> "pl.DataFrame":
    import polars as pl

    from pipeline.words.codes import words_of

    return rows.select(
        "placed_month",
        "site",
        pl.col("at_h").alias("hour"),
        pl.col("kind").map_elements(words_of, return_dtype=pl.String).alias("event"),
        pl.col("source").alias("told by"),
        pl.col("is_reviewed").alias("reviewed"),
        pl.col("reviewed_month").alias("in"),
    )
