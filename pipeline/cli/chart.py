"""`dwell chart`: control charts of a measure, or of all measures of a site."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

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
    from pipeline.answers.charts import MeasureCharts
    from pipeline.measures.series import Where

KINDS = ("run", "p", "u", "g", "t")


@click.command(epilog="Example: dwell chart dislodgement --by site --out dislodgement.svg")
@click.argument("name", required=False, shell_complete=measure_names)
@site_option
@click.option(
    "--by",
    multiple=True,
    metavar="COLUMN",
    help="month (unless given) or quarter; also site, surgeon_type, limb, ...: a chart for each.",
)
@click.option("--where", metavar="CONDITION", help="Only episodes like \"limb = 'lower'\".")
@click.option("--kind", type=click.Choice(KINDS), help="Another chart than the measure's own.")
@click.option("--adjust", is_flag=True, help="Judge against what case mix expects of each month.")
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Draw the chart into a file, .svg or .png.",
)
@db_option
@settings_option
@format_option
@always_quiet_option
def chart(
    *,
    name: str | None,
    sites: tuple[str, ...],
    by: tuple[str, ...],
    where: str | None,
    kind: str | None,
    adjust: bool,
    out: Path | None,
    db: Path,
    settings: Path | None,
    format_: str,
) -> None:
    """Control chart of a measure.

    Without NAME, of every measure. Every chart says why it is the one drawn, names its
    signals, and states what its silence means: the chance of a false alarm, and the
    months until a doubling, a halving and a 50% rise would be expected to show. Signals
    are a reason to look, not a finding on any child's care.
    """
    from pipeline.answers.charts import measure_charts
    from pipeline.measures.catalogue import find_measure, measures_in_force
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    values = load_settings(settings)
    measures = [find_measure(name, values)] if name else measures_in_force(values)
    period, group = period_and_group(by)
    chosen = chosen_episodes(sites, where)
    if adjust and (len(measures) != 1 or group is not None or period != "month"):
        raise UsageError(
            "Case mix is allowed for in one measure at a time, by month.",
            try_next="dwell chart dislodgement --adjust",
        )
    with open_store(db) as store:
        found = measure_charts(
            store, measures, period=period, by=group, kind=kind, adjust=adjust, where=chosen,
            settings=values,
        )  # fmt: skip
    if out is not None:
        found.figure().save(out)
    _print(found, format_)


def period_and_group(by: Sequence[str]) -> tuple[str, str | None]:
    """Read what a point is, and what makes groups; raises `UsageError` at two of either."""
    from pipeline.measures.dimensions import PERIODS

    periods = {name for name in by if name in PERIODS}
    groups = {name for name in by if name not in PERIODS}
    if len(periods) > 1 or len(groups) > 1:
        raise UsageError(
            "A chart has one period and one grouping.", try_next="--by quarter --by site"
        )
    return next(iter(periods), "month"), next(iter(groups), None)


def chosen_episodes(sites: Sequence[str], where: str | None) -> Where:
    """Read the sites and the condition asked for; raises `UsageError`."""
    from pipeline.measures.where import parse_condition

    chosen: dict[str, Any] = {"site": list(sites)} if sites else {}
    return chosen | ({"where": parse_condition(where)} if where else {})


def _print(found: MeasureCharts, format_: str) -> None:
    """Print one chart as one object, several as a list."""
    from pipeline.cli.printing import print_frame, to_json

    if format_ == "csv":
        print_frame(found.frame(), "csv")
    elif format_ == "json":
        click.echo(to_json(found.as_json()))
    else:
        click.echo("\n".join(_lines(found)))


def _lines(found: MeasureCharts) -> list[str]:
    """Return each chart's finding, its points, and what its silence means."""
    from pipeline.cli.printing import table_lines
    from pipeline.words.chart import chart_sentences, headline

    lines = []
    for one in found.charts:
        lines += [headline(one.chart, one.subject), ""]
        if len(one.chart):
            frame = replace(found, charts=(one,)).frame().drop("measure", "group", "phase")
            lines += [*table_lines(frame), ""]
        lines += [*chart_sentences(one), ""]
    return lines
