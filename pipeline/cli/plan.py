"""`dwell plan`: how long, or how many catheters a month, to see a given change."""

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
from pipeline.errors import UsageError

if TYPE_CHECKING:
    from pipeline.answers.plan import DetectionPlan

CHANGES = {"doubling": 2.0, "halving": 0.5, "rise": 1.5}


@click.command(epilog="Example: dwell plan dislodgement --site curlew --change halving")
@click.argument("name", metavar="MEASURE", shell_complete=measure_names)
@site_option
@click.option(
    "--change",
    default="doubling",
    show_default=True,
    metavar="CHANGE",
    help="doubling, halving, rise (by 50%), or a ratio such as 0.7.",
)
@click.option(
    "--within",
    type=click.FloatRange(min=1, max=120),
    default=12,
    show_default=True,
    help="Months within which the change should be seen.",
)
@db_option
@settings_option
@format_option
@always_quiet_option
def plan(
    *,
    name: str,
    sites: tuple[str, ...],
    change: str,
    within: float,
    db: Path,
    settings: Path | None,
    format_: str,
) -> None:
    """Say how soon a change would be seen.

    By each chart, from the measure's rate and volume of the last year: the months until
    a signal is expected, the months between false signals, and the catheters a month
    that would be needed. Nothing here is a target for any one child's care.
    """
    from pipeline.answers.plan import measure_plan
    from pipeline.measures.catalogue import find_measure
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    values, ratio = load_settings(settings), ratio_of(change)
    measure = find_measure(name, values)
    with open_store(db) as store:
        found = measure_plan(
            store, measure, ratio=ratio, within=within, sites=sites, settings=values
        )
    _print(found, format_)


def ratio_of(text: str) -> float:
    """Read a change from a word or a ratio; raises `UsageError`."""
    if text in CHANGES:
        return CHANGES[text]
    try:
        ratio = float(text)
    except ValueError:
        ratio = float("nan")
    if not 0.05 <= ratio <= 20 or ratio == 1:
        raise UsageError(f"{text} is not a change.", try_next="doubling, halving, rise or 0.7")
    return ratio


def _print(found: DetectionPlan, format_: str) -> None:
    from pipeline.cli.printing import print_frame, table_lines, to_json
    from pipeline.words.plan import plan_sentences

    if format_ == "json":
        click.echo(to_json(found.as_json()))
    elif format_ == "csv":
        print_frame(found.frame(), "csv")
    else:
        click.echo("\n".join([*plan_sentences(found), "", *table_lines(found.frame())]))
