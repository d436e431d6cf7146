"""`dwell chart --kind cusum`: slow drifts, against the baseline or against case mix."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import numpy as np

from pipeline.analysis.charts import ControlChart, spoken
from pipeline.analysis.charts.chains import cusum_run_length
from pipeline.analysis.charts.cusum import DOWN, UP, CusumSide, month_masses, monthly_cusum
from pipeline.analysis.charts.silence import months_words
from pipeline.commands.charting import Asked, charts_of
from pipeline.errors import NoDataError, UsageError

if TYPE_CHECKING:
    from pipeline.disclosure import Policy
    from pipeline.measures.catalogue import Measure
    from pipeline.settings import Settings
    from pipeline.store import Store

Floats = np.ndarray


@dataclass(frozen=True, eq=False)
class Cusum:
    """Both sides of one measure's CUSUM, over the months of an ordinary chart.

    `rates` are the in-control rates, one a month; `terms` the case mix allowed for.
    """

    measure: Measure
    chart: ControlChart
    rates: Floats
    up: CusumSide
    down: CusumSide
    terms: tuple[str, ...]

    @property
    def judged(self) -> np.ndarray:
        """Months that may signal."""
        return self.chart.judged


def cusum_of(
    store: Store,
    measure: Measure,
    asked: Asked,
    *,
    adjust: bool,
    settings: Settings,
    policy: Policy,
) -> Cusum:
    """Follow one measure month by month.

    The in-control rate is the baseline's; with `adjust`, each month's own as the
    case-mix model expects it, scaled to the baseline's total.

    Raises
    ------
    UsageError
        The measure leaves no room for events, or for none.
    """
    plain = Asked("p" if measure.denominator_kind == "proportion" else "u", period="month",
                  where=asked.where, baseline=asked.baseline)  # fmt: skip
    (charted,) = charts_of(store, measure, plain, settings=settings, policy=policy)
    chart = charted.chart
    if chart.suppressed.any():
        raise UsageError(
            "A CUSUM adds up every month, so it would give small counts away.",
            try_next="--audience committee, for the committee's own copy",
        )
    rates, terms = chart.centre / chart.multiplier, tuple[str, ...]()
    if adjust:
        rates, terms = expected_rates(store, measure, chart, asked, settings)
    proportion = measure.denominator_kind == "proportion"
    events = np.where(chart.judged, chart.numerator, np.nan)
    run = settings.in_control_run_length
    try:
        up, down = (
            monthly_cusum(events, chart.denominator, rates, ratio=ratio, proportion=proportion,
                          in_control_months=run)
            for ratio in (UP, DOWN)
        )  # fmt: skip
    except ValueError as error:
        raise UsageError(f"{str(error)[0].upper()}{str(error)[1:]}.") from None
    return Cusum(measure, chart, rates, up, down, terms)


def expected_rates(
    store: Store, measure: Measure, chart: ControlChart, asked: Asked, settings: Settings
) -> tuple[Floats, tuple[str, ...]]:
    """Return each month's expected rate from the case mix of its own children."""
    from pipeline.analysis.case_mix import expect
    from pipeline.analysis.pattern_counts import Cells
    from pipeline.measures.patterns import pattern_frames

    terms = (*measure.case_mix, "surgeon_type", "site")
    factors = ["month", *terms]
    frames = pattern_frames(store, [measure], factors, where=asked.where, settings=settings)
    cells = Cells.from_frame(frames.cells, factors)
    ((_, sums),) = frames.measures
    try:
        model = expect(
            cells.counts(sums["cell"].to_numpy(), sums),
            by="month",
            terms=terms,
            kind=measure.denominator_kind,
        )
    except ValueError as error:
        raise NoDataError(f"No case-mix model: {error}.") from None
    place = {month: i for i, month in enumerate(model.groups)}
    found = np.full(len(chart), np.nan)
    for i, month in enumerate(chart.periods):
        if month in place and model.denominator[place[month]] > 0:
            found[i] = model.expected[place[month]] / model.denominator[place[month]]
    return found * _to_baseline(chart, found), model.terms


def _to_baseline(chart: ControlChart, rates: Floats) -> Floats:
    """Return the factor that makes each baseline's expected events its observed ones."""
    base = chart.baseline & np.isfinite(rates)
    expected = np.bincount(chart.limit_set[base], (rates * chart.denominator)[base])
    observed = np.bincount(chart.limit_set[base], chart.numerator[base])
    factor = observed / np.where(expected > 0, expected, np.nan)
    return np.asarray(factor[chart.limit_set])


def delay(found: Cusum, side: CusumSide) -> float:
    """Return the expected months until a side sees the change that it looks for."""
    proportion = found.measure.denominator_kind == "proportion"
    recent = np.flatnonzero(found.judged & np.isfinite(found.rates))[-12:]
    masses = month_masses(
        found.chart.denominator[recent], found.rates[recent], side.ratio,
        proportion=proportion, true_ratio=side.ratio,
    )  # fmt: skip
    return cusum_run_length(masses, side.limit)


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
            "in_control_months": found.up.in_control_steps,
            "method": "exact",
            "expected_months": [
                {"ratio": side.ratio, "months": round(delay(found, side), 3)}
                for side in (found.up, found.down)
            ],
        },
    }  # fmt: skip


def _point(found: Cusum, i: int) -> dict[str, Any]:
    chart, hidden = found.chart, bool(found.chart.suppressed[i])
    rate, n = found.rates[i], chart.denominator[i]
    marks = ["beyond_limit"] if i in {*found.up.signals, *found.down.signals} else []
    return {
        "period": chart.periods[i],
        "numerator": None if hidden else float(chart.numerator[i]),
        "denominator": None if hidden else float(n),
        "expected": round(float(rate * n), 6) if np.isfinite(rate) and not hidden else None,
        "value": None if hidden else round(float(found.up.path[i]), 6),
        "value_down": None if hidden else round(-float(found.down.path[i]), 6),
        "centre": 0.0,
        "lower": round(-found.down.limit, 6),
        "upper": round(found.up.limit, 6),
        "signals": marks,
        "provisional": bool(chart.provisional[i]),
        "withheld": hidden,
    }


def signal_sentences(found: Cusum) -> list[tuple[str, int, str]]:
    """Return direction, month and sentence of each signal, in time order."""
    base = "what case mix expects" if found.terms else "the baseline"
    sides = (("above", found.up, "a doubling"), ("below", found.down, "a halving"))
    said = [
        (way, i, f"By {spoken(found.chart.periods[i])} the evidence for {change} against {base} "
         "reached its limit.")
        for way, side, change in sides
        for i in side.signals
    ]  # fmt: skip
    return sorted(said, key=lambda entry: entry[1])


def print_cusum(
    db: Path,
    measures: Sequence[Measure],
    asked: Asked,
    *,
    adjust: bool,
    settings: Settings,
    policy: Policy,
    out: Path | None,
    format_: str,
) -> None:
    """Print, and if asked draw, the CUSUM of one measure."""
    from pipeline.commands.printing import print_frame, table_lines, to_json
    from pipeline.store import open_store

    if len(measures) != 1 or asked.group is not None:
        raise UsageError("A CUSUM follows one measure at a time.",
                         try_next="dwell chart dislodgement --kind cusum")  # fmt: skip
    with open_store(db) as store:
        found = cusum_of(store, measures[0], asked, adjust=adjust, settings=settings, policy=policy)
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
    said.append(
        f"Limits are set for one false signal in {found.up.in_control_steps:g} months on each side."
    )
    of = "odds" if found.measure.denominator_kind == "proportion" else "rate"
    for side, change in ((found.up, "doubled"), (found.down, "halved")):
        said.append(
            f"If the {of} {change}, a signal would be expected after about "
            f"{months_words(delay(found, side))}."
        )
    return said


def _draw(found: Cusum) -> Any:
    from pipeline.figures.cusum import cusum_figure
    from pipeline.figures.look import standalone

    caption = " ".join(sentences(found)[-3:])
    return standalone(cusum_figure(found.chart, found.up, found.down, headline(found), caption))
