"""`dwell calls`: how often families call while the catheter is in place."""

from __future__ import annotations

from pathlib import Path

import click

from pipeline.cli.options import (
    always_quiet_option,
    db_option,
    format_option,
    from_option,
    to_option,
)
from pipeline.cli.printing import print_frame, to_json
from pipeline.cli.removal import at_option, hours_of, terms_of, where_option


@click.command(epilog="Example: dwell calls --by interpreter_needed --adjust interpreter_needed")
@click.option("--by", metavar="COLUMN", help="Compare groups: site, limb, surgeon_type, ...")
@where_option
@from_option
@to_option
@at_option
@click.option(
    "--adjust", metavar="COLUMNS", help="Model on these columns, with commas: age_years,limb,..."
)
@click.option("--out", type=click.Path(path_type=Path), help="Draw it into a file, .svg or .png.")
@db_option
@format_option
@always_quiet_option
def calls(
    *,
    by: str | None,
    where: str | None,
    first: str | None,
    last: str | None,
    at: str,
    adjust: str | None,
    out: Path | None,
    db: Path,
    format_: str,
) -> None:
    """How often families call, by hour since placement.

    Families that called once call again: the mean number of calls of a catheter in place is
    given with limits that allow for it, and so are the rate ratios of --adjust.
    Associations, not causes; local policy and licensed clinicians decide.
    """
    from pipeline.answers.calls import calls_result
    from pipeline.store import open_store

    with open_store(db) as store:
        result = calls_result(
            store, by=by, where=where, first=first, last=last, at=hours_of(at),
            adjust=terms_of(adjust, None),
        )  # fmt: skip
    if out is not None:
        from pipeline.figures.look import standalone

        standalone(result.figure()).save(out)
    if format_ == "json":
        click.echo(to_json(result.as_json()))
    elif format_ == "csv":
        print_frame(result.frame(), "csv")
    else:
        from pipeline.words.calls import calls_words

        for part in calls_words(result):
            if isinstance(part, str):
                click.echo(part)
            else:
                print_frame(part)
