"""`dwell plan`: how soon a change of a measure would be seen."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.complete import measure_names
from pipeline.cli.options import (
    always_quiet_option,
    db_option,
    format_option,
    settings_option,
    site_option,
)

if TYPE_CHECKING:
    from pipeline.answers.plan import DetectionPlan


@click.command(epilog="Example: dwell plan dislodgement --site curlew")
@click.argument("name", metavar="MEASURE", shell_complete=measure_names)
@site_option
@db_option
@settings_option
@format_option
@always_quiet_option
def plan(
    *, name: str, sites: tuple[str, ...], db: Path, settings: Path | None, format_: str
) -> None:
    """Say how soon a change would be seen.

    By each kind of chart, at equal false alarms, from the measure's rate and volume of
    the last year: the months until a doubling, a halving and a rise by half are expected
    to show. Nothing here is a target for any one child's care.
    """
    from pipeline.answers.plan import measure_plan
    from pipeline.measures.catalogue import find_measure
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    values = load_settings(settings)
    measure = find_measure(name, values)
    with open_store(db) as store:
        found = measure_plan(store, measure, sites=sites, settings=values)
    _print(found, format_)


def _print(found: DetectionPlan, format_: str) -> None:
    from pipeline.cli.printing import print_frame, table_lines, to_json
    from pipeline.words.plan import plan_sentences

    if format_ == "json":
        click.echo(to_json(found.as_json()))
    elif format_ == "csv":
        print_frame(found.frame(), "csv")
    else:
        rows = table_lines(found.frame()) if found.plan.rows else []
        click.echo("\n".join([*plan_sentences(found), "", *rows]))
