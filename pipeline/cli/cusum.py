"""`dwell chart --kind cusum`: slow drifts, against the baseline or against case mix."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from pipeline.analysis.charts import ControlChart
from pipeline.analysis.charts.cusum import (
    DOWN,
    UP,
    CusumSide,
    Risk,
    expected_delay,
    false_signal,
    monthly_cusum,
)
from pipeline.analysis.charts.expected import MONTH, Fitted, fitted_risk
from pipeline.analysis.charts.point_models import baseline_rate
from pipeline.cli.chart_output import number
from pipeline.cli.charting import Asked, charts_of
from pipeline.errors import UsageError
from pipeline.words.numbers import chance, month
from pipeline.words.silence import months_words

if TYPE_CHECKING:
    from pipeline.measures.catalogue import Measure
    from pipeline.settings import Settings
    from pipeline.store import Store


@dataclass(frozen=True, eq=False)
class Cusum:
    """Both sides of one measure's CUSUM, over the months of an ordinary chart.

    `risk` is what was expected of each month; `terms` the case mix allowed for.
    """

    measure: Measure
    chart: ControlChart
    risk: Risk
    up: CusumSide
    down: CusumSide
    terms: tuple[str, ...]
    in_control_months: float

    @cached_property
    def delays(self) -> tuple[float, float]:
        """Expected months until each side sees its change, at the volume of the last year."""
        recent = np.flatnonzero(self.chart.judged & self.risk.leaves_room)[-12:]
        return (expected_delay(self.risk, recent, self.up),
                expected_delay(self.risk, recent, self.down))  # fmt: skip

    @cached_property
    def false_signal(self) -> float:
        """Chance of at least one false signal over the months judged."""
        return false_signal(self.risk, (self.up, self.down), self.chart.judged)


def cusum_of(
    store: Store,
    measure: Measure,
    asked: Asked,
    *,
    adjust: bool,
    settings: Settings,
) -> Cusum:
    """Follow one measure month by month.

    What is expected is the baseline's rate; with `adjust`, what a model of the
    baseline's case mix expects of each month's own children.

    Raises
    ------
    UsageError
        The measure leaves no room for events, or for none.
    """
    proportion = measure.denominator_kind == "proportion"
    plain = Asked("p" if proportion else "u", where=asked.where)
    (charted,) = charts_of(store, measure, plain, settings=settings)
    chart = charted.chart
    events = np.where(chart.judged, chart.numerator, np.nan)
    run = settings.in_control_run_length
    try:
        fitted = (
            _case_mix(store, measure, chart, asked, settings)
            if adjust
            else Fitted(_level(chart, proportion=proportion), ())
        )
        up, down = (
            monthly_cusum(events, fitted.risk, ratio=ratio, in_control_months=run,
                          limit_set=chart.limit_set)
            for ratio in (UP, DOWN)
        )  # fmt: skip
    except ValueError as error:
        raise UsageError(f"{str(error)[0].upper()}{str(error)[1:]}.") from None
    return Cusum(measure, chart, fitted.risk, up, down, fitted.terms, run)


def _level(chart: ControlChart, *, proportion: bool) -> Risk:
    """Return the baseline's rate as every catheter's risk."""
    rate = np.nan_to_num(baseline_rate(chart))
    return Risk.alike(chart.denominator, rate, proportion=proportion)


def _case_mix(
    store: Store, measure: Measure, chart: ControlChart, asked: Asked, settings: Settings
) -> Fitted:
    """Return the risk of each month's own children by a model of the baseline."""
    from pipeline.analysis.comparison.pattern_counts import Cells
    from pipeline.measures.dimensions import case_mix_terms
    from pipeline.measures.patterns import pattern_frames

    terms = case_mix_terms(measure)
    factors = [MONTH, *terms]
    frames = pattern_frames(store, [measure], factors, where=asked.where, settings=settings)
    cells = Cells.from_frame(frames.cells, factors)
    ((_, sums),) = frames.measures
    return fitted_risk(
        cells.counts(sums["cell"].to_numpy(), sums), chart.periods, chart.baseline,
        chart.limit_set, terms=terms, kind=measure.denominator_kind,
    )  # fmt: skip


def as_mapping(found: Cusum) -> dict[str, Any]:
    """Return the CUSUM with the keys of every chart; the lower side is drawn downwards."""
    chart = found.chart
    return {
        "measure": found.measure.name,
        "chart": "cusum",
        "unit": "log-likelihood ratio",
        "centre": 0.0,
        "adjusted_for": list(found.terms),
        "phases": [],
        "points": [_point(found, i) for i in range(len(chart))],
        "signals": [
            {"kind": "beyond_limit", "direction": way, "first": chart.periods[i],
             "last": chart.periods[i], "points": [chart.periods[i]], "sentence": text}
            for way, i, text in signal_sentences(found)
        ],
        "detectability": {
            "in_control_months": found.in_control_months,
            "false_signal": round(found.false_signal, 6),
            "method": "exact",
            "false_signal_method": "simulated",
            "expected_months": [
                {"ratio": side.ratio, "months": round(months, 3)}
                for side, months in zip((found.up, found.down), found.delays, strict=True)
            ],
        },
    }  # fmt: skip


def _point(found: Cusum, i: int) -> dict[str, Any]:
    chart = found.chart
    marks = ["beyond_limit"] if i in {*found.up.signals, *found.down.signals} else []
    return {
        "period": chart.periods[i],
        "numerator": number(chart.numerator[i]),
        "denominator": number(chart.denominator[i]),
        "expected": number(found.risk.expected[i]),
        "value": number(found.up.path[i]),
        "value_down": number(0.0 - found.down.path[i]),
        "centre": 0.0,
        "lower": number(-found.down.limit[i]),
        "upper": number(found.up.limit[i]),
        "signals": marks,
        "provisional": bool(chart.provisional[i]),
    }


def signal_sentences(found: Cusum) -> list[tuple[str, int, str]]:
    """Return direction, month and sentence of each signal, in time order."""
    base = "what case mix expects" if found.terms else "the baseline"
    sides = (("above", found.up, "a doubling"), ("below", found.down, "a halving"))
    said = [
        (way, i, f"By {month(found.chart.periods[i])} the evidence for {change} of the "
         f"{_of(found)} against {base} reached its limit.")
        for way, side, change in sides
        for i in side.signals
    ]  # fmt: skip
    return sorted(said, key=lambda entry: entry[1])


def _of(found: Cusum) -> str:
    return "odds" if found.risk.proportion else "rate"


def print_cusum(
    db: Path,
    measures: Sequence[Measure],
    asked: Asked,
    *,
    adjust: bool,
    settings: Settings,
    out: Path | None,
    format_: str,
) -> None:
    """Print, and if asked draw, the CUSUM of one measure."""
    from pipeline.cli.printing import print_frame, table_lines, to_json
    from pipeline.store import open_store

    if len(measures) != 1 or asked.group is not None:
        raise UsageError("A CUSUM follows one measure at a time.",
                         try_next="dwell chart dislodgement --kind cusum")  # fmt: skip
    with open_store(db) as store:
        found = cusum_of(store, measures[0], asked, adjust=adjust, settings=settings)
    if out is not None:
        _draw(found).save(out)
    if format_ == "json":
        click.echo(to_json(as_mapping(found)))
        return
    frame = _frame(found)
    if format_ == "csv":
        print_frame(frame, "csv")
        return
    click.echo("\n".join([headline(found), "", *table_lines(frame), "", *sentences(found)]))


def _frame(found: Cusum) -> Any:
    import polars as pl

    rows = [p | {"signals": ", ".join(p["signals"])} for p in as_mapping(found)["points"]]
    return pl.DataFrame(rows, infer_schema_length=None)


def headline(found: Cusum) -> str:
    """State the finding."""
    said = signal_sentences(found)
    last = said[-1][2].rstrip(".") if said else "no evidence of a doubling or a halving"
    return f"{found.measure.title}: {last[0].lower()}{last[1:]}"


def sentences(found: Cusum) -> list[str]:
    """Say what was found, what was allowed for, and what silence means."""
    said = [text for _, _, text in signal_sentences(found)] or ["No signal."]
    if found.terms:
        said.append(f"Expected from a model of {', '.join(found.terms)}.")
    return [*said, *_how(found), *_silence(found)]


def _how(found: Cusum) -> list[str]:
    """Say how the evidence accumulates."""
    against = "what was expected of its children" if found.terms else "the baseline"
    return [
        f"Month of placement by month of placement, the evidence of all catheters for a doubling "
        f"(and apart from it for a halving) of the {_of(found)} against {against} is added up; "
        "a sum that falls below zero starts again at zero, as it does after a signal and in a "
        "new phase."
    ]


def _silence(found: Cusum) -> list[str]:
    """Say what silence means."""
    said = [
        f"Limits are set for one false signal in {found.in_control_months:g} months on each "
        f"side; over {int(found.chart.judged.sum())} months the chance of at least one is "
        f"{chance(found.false_signal)}."
    ]
    for months, change in zip(found.delays, ("doubled", "halved"), strict=True):
        said.append(
            f"If the {_of(found)} {change}, a signal would be expected after about "
            f"{months_words(months)}."
        )
    return said


def _draw(found: Cusum) -> Any:
    from pipeline.figures.cusum import cusum_figure
    from pipeline.figures.look import standalone

    caption = " ".join(sentences(found)[-3:])
    return standalone(cusum_figure(found.chart, found.up, found.down, headline(found), caption))
