"""`dwell chart`: control charts of a measure, or of all measures of a site."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.complete import measure_names
from pipeline.cli.options import (
    db_option,
    format_option,
    quiet_option,
    settings_option,
    site_option,
)
from pipeline.errors import UsageError

if TYPE_CHECKING:
    from pipeline.analysis.charts.detectability import Detectability
    from pipeline.cli.charting import Asked, Charted
    from pipeline.figures.look import Drawing
    from pipeline.measures.catalogue import Measure
    from pipeline.settings import Settings
    from pipeline.store import Store

EPILOG = "Example: dwell chart dislodgement --by site --out dislodgement.svg"
KINDS = ("run", "p", "u", "g", "t", "cusum")


@click.command(epilog=EPILOG)
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
@click.option("--adjust", is_flag=True, help="With --kind cusum: against what case mix expects.")
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Draw the chart into a file, .svg or .png.",
)
@db_option
@settings_option
@format_option
@quiet_option
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
    quiet: bool,
) -> None:
    """Control chart of a measure.

    Without NAME, of every measure. Every chart says why it is the one drawn, names its
    signals, and states what its silence means: the chance of a false signal, and the
    months until a doubling, a halving and a 50% rise would be expected to show. Signals
    are a reason to look, not a finding on any child's care.
    """
    from pipeline.measures.catalogue import find_measure, load_catalogue
    from pipeline.measures.dimensions import check_sites
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    values = load_settings(settings)
    measures = [find_measure(name)] if name else list(load_catalogue().values())
    plain = None if kind == "cusum" else kind
    _check_fit(kind, by, adjust=adjust)
    asked = asked_of(sites, by, where, kind=plain)
    with open_store(db) as store:
        check_sites(store, sites)
    if kind == "cusum":
        from pipeline.cli.cusum import print_cusum

        print_cusum(
            db, measures, asked, adjust=adjust, settings=values, out=out, format_=format_,
        )  # fmt: skip
        return
    with open_store(db) as store:
        charts = _all_charts(store, measures, asked, settings=values)
    if out is not None:
        _draw(charts, asked, is_one_measure=name is not None).save(out)
    _print(charts, asked, format_)


def _check_fit(kind: str | None, by: Sequence[str], *, adjust: bool) -> None:
    """Refuse options that a chart would pass over without a word."""
    if adjust and kind != "cusum":
        raise UsageError("Only a CUSUM is adjusted for case mix.", try_next="--kind cusum --adjust")
    if kind == "cusum" and "quarter" in by:
        raise UsageError("A CUSUM goes by month.", try_next="--kind cusum without --by quarter")


def asked_of(
    sites: Sequence[str],
    by: Sequence[str],
    where: str | None,
    *,
    kind: str | None = None,
) -> Asked:
    """Read what was asked from the options' words.

    Raises
    ------
    UsageError
        A word is none that the options know, or two are one too many.
    """
    from pipeline.cli.charting import Asked
    from pipeline.measures.dimensions import PERIODS
    from pipeline.measures.where import parse_condition

    periods = [name for name in by if name in PERIODS]
    groups = [name for name in by if name not in PERIODS]
    if len(set(periods)) > 1 or len(set(groups)) > 1:
        raise UsageError(
            "A chart has one period and one grouping.", try_next="--by quarter --by site"
        )
    chosen: dict[str, Any] = {"site": list(sites)} if sites else {}
    if where:
        chosen["where"] = parse_condition(where)
    period = periods[0] if periods else "month"
    return Asked(
        kind=kind,
        period=period,
        group=groups[0] if groups else None,
        where=chosen,
    )


def _all_charts(
    store: Store, measures: Sequence[Measure], asked: Asked, *, settings: Settings
) -> list[Charted]:
    from pipeline.cli.charting import KINDS_OF, charts_of

    if asked.kind is not None and len(measures) > 1:
        measures = [m for m in measures if asked.kind in KINDS_OF[m.denominator_kind]]
    return [
        charted
        for measure in measures
        for charted in charts_of(store, measure, asked, settings=settings)
    ]


def _what_it_sees(charted: Charted, asked: Asked) -> Detectability:
    from pipeline.analysis.charts.detectability import detectability

    months = 3.0 if asked.period == "quarter" else 1.0
    return detectability(
        charted.chart, months_per_point=months, monthly_volume=charted.monthly_volume
    )


def _print(charts: Sequence[Charted], asked: Asked, format_: str) -> None:
    """Print one chart as one object, several as a list."""
    from pipeline.cli import chart_output
    from pipeline.cli.printing import print_frame, table_lines, to_json

    if format_ == "csv":
        print_frame(chart_output.as_frame(charts), "csv")
    elif format_ == "json":
        found = [chart_output.as_mapping(c, _what_it_sees(c, asked)) for c in charts]
        click.echo(to_json(found[0] if len(found) == 1 else found))
    else:
        for charted in charts:
            frame = chart_output.as_frame([charted]).drop("measure", "group", "phase")
            click.echo(f"{_heading(charted)}\n")
            click.echo("\n".join(table_lines(frame)) + "\n")
            for line in chart_output.sentences(charted, _what_it_sees(charted, asked)):
                click.echo(line)
            click.echo()


def _heading(charted: Charted) -> str:
    from pipeline.words.chart import headline

    return headline(charted.chart, subject_of(charted))


def subject_of(charted: Charted) -> str:
    """Return the measure's title, and whose chart it is where it is not the network's."""
    whose = "" if charted.group == "all" else f", {charted.label}"
    return f"{charted.measure.title}{whose}"


def _draw(charts: Sequence[Charted], asked: Asked, *, is_one_measure: bool) -> Drawing:
    """Draw one chart large, several as small multiples."""
    from pipeline.figures.control_chart import control_chart_figure, small_multiples
    from pipeline.figures.look import standalone

    if len(charts) == 1:
        return standalone(control_chart_figure(charts[0].chart, subject_of(charts[0])))
    if is_one_measure:
        panels = {charted.label: charted.chart for charted in charts}
        return standalone(small_multiples(panels, charts[0].measure.title))
    panels = {charted.measure.title: charted.chart for charted in charts}
    if len(panels) < len(charts):
        panels = {subject_of(charted): charted.chart for charted in charts}
    whose = ", ".join(charts[0].sites) or "All sites"
    return standalone(small_multiples(panels, whose, common_axes=False))
