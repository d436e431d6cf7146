"""`dwell plan`: how long, or how many catheters a month, to see a given change."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import numpy as np

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
    from pipeline.analysis.charts.plan import Plan, PlanRow
    from pipeline.cli.charting import Charted
    from pipeline.measures.catalogue import Measure
    from pipeline.settings import Settings

CHANGES = {"doubling": 2.0, "halving": 0.5, "rise": 1.5}
CHART_NAMES = {"cusum": "CUSUM", "ewma": "EWMA", "run": "run chart"}


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
    from pipeline.analysis.charts.plan import plan_detection
    from pipeline.measures.catalogue import find_measure
    from pipeline.settings import load_settings

    values, measure, ratio = load_settings(settings), find_measure(name), ratio_of(change)
    charted, rate, days = _recent(db, measure, sites, values)
    try:
        found = plan_detection(
            rate, charted.monthly_volume, ratio=ratio,
            proportion=measure.denominator_kind == "proportion",
            within=within, in_control_months=values.in_control_run_length,
        )  # fmt: skip
    except ValueError as error:
        said = str(error)
        raise UsageError(f"{said[0].upper()}{said[1:]}.", try_next="--change halving") from None
    _print(found, measure, days, format_)


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


def _recent(
    db: Path, measure: Measure, sites: tuple[str, ...], settings: Settings
) -> tuple[Charted, float, float]:
    """Return the last year's chart, its rate, and the exposure of one catheter."""
    from pipeline.cli.charting import Asked, charts_of
    from pipeline.errors import NoDataError
    from pipeline.measures.dimensions import check_sites
    from pipeline.store import open_store

    kind = "p" if measure.denominator_kind == "proportion" else "u"
    asked = Asked(kind=kind, where={"site": list(sites)} if sites else {})
    with open_store(db) as store:
        check_sites(store, sites)
        (charted,) = charts_of(store, measure, asked, settings=settings)
        volumes = charts_of(store, measure, Asked(kind="g", where=asked.where), settings=settings)
    chart = charted.chart
    recent = np.flatnonzero(chart.judged)[-12:]
    if not recent.size:
        raise NoDataError(f"No complete month of {measure.name} to plan from.")
    rate = float(chart.numerator[recent].sum() / chart.denominator[recent].sum())
    catheters = volumes[0].monthly_volume
    return charted, rate, charted.monthly_volume / catheters if catheters else 1.0


def _print(found: Plan, measure: Measure, days: float, format_: str) -> None:
    import polars as pl

    from pipeline.cli.printing import print_frame, table_lines, to_json

    rows = [_row(row, found, days) for row in found.rows]
    if format_ == "json":
        soonest = found.soonest.chart if found.soonest else None
        about = {key: value for key, value in asdict(found).items() if key != "rows"}
        click.echo(to_json({"measure": measure.name, **about, "soonest": soonest, "charts": rows}))
    elif format_ == "csv":
        print_frame(pl.DataFrame(rows), "csv")
    else:
        lines = table_lines(pl.DataFrame(rows, infer_schema_length=None))
        click.echo("\n".join([*sentences(found, measure, days), "", *lines]))


def _row(row: PlanRow, found: Plan, days: float) -> dict[str, Any]:
    needed = None if row.volume_needed is None else float(np.ceil(row.volume_needed / days))
    return {
        "chart": row.chart,
        "months_to_signal": _months(row.months),
        "months_between_false_signals": _months(row.false_signal_months),
        f"catheters_a_month_for_{found.within:g}_months": needed,
    }


def _months(value: float) -> float | None:
    return round(value, 1) if np.isfinite(value) else None


def sentences(found: Plan, measure: Measure, days: float) -> list[str]:
    """Say what was assumed, which chart is soonest, and what volume would do."""
    from pipeline.words.numbers import figure
    from pipeline.words.silence import months_words

    now = f"{figure(found.rate * measure.multiplier)} {measure.unit}"
    said = [
        f"{measure.title}: at present {now}, from about {found.volume / days:,.0f} catheters "
        "a month.",
        f"The change to see: {_change(found, measure)}.",
    ]
    best = found.soonest
    if best is None:
        return [*said, "No chart would be expected to see it without many false signals."]
    chart = CHART_NAMES.get(best.chart, f"{best.chart} chart")
    said.append(f"The {chart} would see it soonest, after about {months_words(best.months)}.")
    if best.volume_needed is not None:
        catheters = np.ceil(best.volume_needed / days)
        said.append(
            f"To see it within {months_words(found.within)} on average, {catheters:,.0f} catheters "
            "a month would do."
        )
    return said


def _change(found: Plan, measure: Measure) -> str:
    is_shortfall = measure.denominator_kind == "proportion" and found.rate > 0.5
    words = {2.0: "a doubling", 0.5: "a halving", 1.5: "a 50% rise"}
    change = words.get(found.ratio, f"a change to {found.ratio:g} times")
    return f"{change} of the {'shortfall' if is_shortfall else 'rate'}"
