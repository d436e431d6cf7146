"""Measures by month, quarter or group: counts, rates and limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import polars as pl

from pipeline.analysis.rates.rates import rates
from pipeline.measures.catalogue import Measure, find_measure
from pipeline.measures.clustering import clustering_by_child
from pipeline.measures.companions import companions
from pipeline.measures.periods import checked_months
from pipeline.measures.series import Where, series
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    from pipeline.figures.look import Drawing

COLUMNS = (
    "numerator", "denominator", "episodes", "ascertained",
    "rate", "lower", "upper", "unit", "provisional",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class MeasureRates:
    """Rates of some measures in some groups.

    Attributes
    ----------
    by : tuple of str
        The groups' columns.
    rows : polars.DataFrame
        `measure`, the columns of `by`, then `COLUMNS`: `rate`, `lower` and `upper` are in
        the measure's `unit`, and null where the denominator is zero.
    """

    by: tuple[str, ...]
    rows: pl.DataFrame

    def frame(self) -> pl.DataFrame:
        """Return the rows."""
        return self.rows

    def figure(self) -> Drawing:
        """Return the rates drawn with their limits, a panel a measure."""
        from pipeline.figures.measure_rates import rates_figure

        return rates_figure(self.rows, self.by)

    def as_json(self) -> list[dict[str, Any]]:
        """Return a mapping a row."""
        return self.rows.to_dicts()


def measure_rates(
    store: Store,
    measures: Sequence[str],
    *,
    by: Sequence[str] = ("month",),
    where: Where | None = None,
    first: str | None = None,
    last: str | None = None,
    settings: Settings | None = None,
) -> MeasureRates:
    """Return the rates of measures in groups, with 95% limits.

    Parameters
    ----------
    store : Store
        An open store.
    measures : sequence of str
        Their names.
    by : sequence of str
        Columns to group by; `all`, or none, gives one row a measure.
    where : mapping, optional
        Column and value, or values, to keep.
    first, last : str, optional
        First and last month of placement, YYYY-MM.
    settings : Settings, optional
        The programme's settings; the defaults where there are none.

    Raises
    ------
    UsageError
        A measure, a column, a site or a month is unknown.
    NoDataError
        No episode is left.
    """
    groups = [name for name in dict.fromkeys(by) if name != "all"]
    chosen = {name: find_measure(name, settings) for name in dict.fromkeys(measures)}
    return _rates_of(
        store, chosen, groups, where=where, months=checked_months(first, last), settings=settings
    )


def rates_beside(
    store: Store,
    measure: str,
    *,
    where: Where | None = None,
    first: str | None = None,
    last: str | None = None,
    settings: Settings | None = None,
) -> MeasureRates:
    """Return what is printed beside a measure: its parts, and how far it can be trusted.

    Parameters and errors are those of `measure_rates`; a row stands for everything asked
    for, and `measure` holds a title. There are no rows where nothing stands beside.
    """
    chosen = {card.name: card for card in companions(find_measure(measure, settings))}
    if not chosen:
        return MeasureRates((), pl.DataFrame(schema=["measure", *COLUMNS]))
    found = _rates_of(
        store, chosen, [], where=where, months=checked_months(first, last), settings=settings
    )
    titles = {name: card.title for name, card in chosen.items()}
    ordered = pl.DataFrame({"measure": list(chosen)}).join(
        found.rows, on="measure", maintain_order="left"
    )
    return MeasureRates((), ordered.with_columns(pl.col("measure").replace(titles)))


def _rates_of(
    store: Store,
    chosen: Mapping[str, Measure],
    groups: Sequence[str],
    *,
    where: Where | None,
    months: tuple[str, str] | None,
    settings: Settings | None,
) -> MeasureRates:
    """Count measures in groups, and give each count its rate and limits."""
    cards = list(chosen.values())
    counted = series(store, cards, groups, where=where, months=months, settings=settings)
    parts = counted.partition_by("measure", maintain_order=True)
    clusters = clustering_by_child(store, cards, settings)
    rows = pl.concat(
        [_with_rates(part, chosen[name], clusters[name]) for part in parts
         for name in [part["measure"][0]]]
    )  # fmt: skip
    return MeasureRates(tuple(groups), rows.select("measure", *groups, *COLUMNS))


def _with_rates(part: pl.DataFrame, measure: Measure, dispersion: float) -> pl.DataFrame:
    """Add a measure's rate and its limits."""
    found = rates(
        part["numerator"],
        part["denominator"],
        kind=measure.denominator_kind,
        multiplier=measure.multiplier,
        dispersion=dispersion,
    )
    columns = {"rate": found.rate, "lower": found.lower, "upper": found.upper}
    return part.with_columns(
        *[pl.Series(name, values).fill_nan(None) for name, values in columns.items()],
        unit=pl.lit(measure.unit),
    )
