"""Logged changes judged before against after, over months that are final."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from pipeline.analysis.change.e_value import change_e_values
from pipeline.analysis.change.effect import AFTER, BEFORE, PERIOD, ChangeEffect, SiteMonths, assess
from pipeline.analysis.change.segmented import Effect
from pipeline.analysis.comparison.contrasts import Contrast
from pipeline.analysis.comparison.pattern_counts import PatternCounts
from pipeline.analysis.rates.rates import Rates
from pipeline.answers.grouped_counts import pattern_counts
from pipeline.errors import NoDataError
from pipeline.measures.catalogue import Measure, find_measure, measures_in_force
from pipeline.measures.dimensions import case_mix_terms, site_labels
from pipeline.measures.log import LoggedChange, logged_change, logged_changes
from pipeline.measures.patterns import final_months
from pipeline.measures.periods import LATEST, months_between
from pipeline.settings import Settings
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

    from pipeline.figures.look import Drawing

Row = dict[str, Any]
_CONTRAST = (
    "difference", "difference_lower", "difference_upper", "ratio", "ratio_lower", "ratio_upper",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class JudgedChange:
    """A logged change's effect on one measure."""

    change: LoggedChange
    measure: Measure
    effect: ChangeEffect

    def as_json(self) -> Row:
        """Return one flat mapping: null for what could not be estimated."""
        from pipeline.words.change import sentence
        from pipeline.words.numbers import json_number

        effect, fit = self.effect, self.effect.segmented
        judged, explained = effect.against_drift, change_e_values(effect)
        return {
            "change_id": self.change.change_id,
            "started_month": self.change.started_month,
            "title": self.change.title,
            "measure": self.measure.name,
            "sites": ",".join(effect.sites),
            "control_sites": ",".join(effect.controls),
            **_rate("before", effect.before),
            **_rate("after", effect.after),
            **_contrast("", effect.crude),
            **_contrast("adjusted_", effect.adjusted),
            **_effect("level", fit.level if fit else None),
            **_effect("slope", fit.slope if fit else None),
            **_effect("earlier_slope", fit.earlier_slope if fit else None),
            **_contrast("controls_", effect.at_controls),
            **_effect("against_drift", judged.effect if judged else None),
            "drift": None if judged is None else json_number(judged.drift),
            "e_value": json_number(explained[0]) if explained else None,
            "e_value_limit": json_number(explained[1]) if explained else None,
            "months_needed": judged.months_needed if judged else None,
            "sites_needed": judged.sites_needed if judged else None,
            **_contrast("without_first_month_", effect.without_first_month),
            "placebo_month": effect.placebo_month or None,
            **_effect("placebo", effect.placebo.effect if effect.placebo else None),
            "sentence": sentence(effect, title=self.measure.title, unit=self.measure.unit),
        }

    def figure(self) -> Drawing:
        """Return the changed sites' rate by month, drawn before and after."""
        from pipeline.figures.change import change_figure

        return change_figure(self.effect, self.measure, name=self.change.title)


@dataclass(frozen=True, eq=False)
class JudgedChanges:
    """The improvement log, judged.

    Attributes
    ----------
    changes : tuple of LoggedChange
        By month.
    judged : tuple of JudgedChange
        One a change and measure that it aimed at, where it could be judged.
    messages : tuple of str
        A sentence for each that could not.
    labels : mapping of str to str
        Labels of the sites.
    """

    changes: tuple[LoggedChange, ...]
    judged: tuple[JudgedChange, ...]
    messages: tuple[str, ...]
    labels: Mapping[str, str]

    def as_json(self) -> list[Row]:
        """Return a mapping a change and measure."""
        return [one.as_json() for one in self.judged]

    def frame(self) -> pl.DataFrame:
        """Return a row a change and measure, with the columns of `as_json`."""
        import polars as pl

        return pl.DataFrame(self.as_json(), infer_schema_length=None)

    def figure(self) -> Drawing | None:
        """Return the first drawn; None where none could be judged."""
        return self.judged[0].figure() if self.judged else None


def judge_changes(
    store: Store,
    change_id: str | None = None,
    *,
    measures: Sequence[str] = (),
    months: tuple[str, str] | None = None,
    lag: int = 0,
    settings: Settings | None = None,
) -> JudgedChanges:
    """Judge logged changes on the measures they aim at, or on those named.

    Parameters
    ----------
    store : Store
        An open store.
    change_id : str, optional
        Only this change; else all that began by the last month.
    measures : sequence of str
        Names of measures.
    months : tuple of str, optional
        First and last month of placement; provisional ones are left out.
    lag : int
        Months of settling in that the trend leaves out.
    settings : Settings, optional
        The programme's settings; the defaults where there are none.

    Raises
    ------
    UsageError
        The change, or a measure, is unknown.
    NoDataError
        A change was named and none is logged.
    """
    last = months[1] if months else LATEST
    changes = [logged_change(store, change_id)] if change_id else logged_changes(store, last)
    judged, messages = [], []
    for change in changes:
        everything = [measure.name for measure in measures_in_force(settings)]
        for name in measures or change.measures or everything:
            measure = find_measure(name, settings)
            try:
                effect = _assessed(
                    store, change, measure, months=months, lag=lag, settings=settings or Settings()
                )
            except NoDataError as error:
                messages.append(error.message)
            else:
                judged.append(JudgedChange(change, measure, effect))
    return JudgedChanges(tuple(changes), tuple(judged), tuple(messages), site_labels(store))


def _assessed(
    store: Store,
    change: LoggedChange,
    measure: Measure,
    *,
    months: tuple[str, str] | None,
    lag: int,
    settings: Settings,
) -> ChangeEffect:
    """Judge one change on one measure.

    Raises
    ------
    NoDataError
        There is nothing before it, or nothing after it.
    """
    final, terms = final_months(store, [measure], months), case_mix_terms(measure)

    def sums(*factors: str) -> PatternCounts:
        ((_, counts),) = pattern_counts(
            store,
            [measure],
            factors,
            months=final,
            settings=settings,
            started_month=change.started_month,
        )
        return counts

    # Months and case mix apart: every combination of both would be as many as episodes.
    counts = sums(PERIOD, *dict.fromkeys(["site", *terms]))
    sites = change.sites or counts.levels["site"]
    own = counts.having("site", sites)
    if set(own.levels[PERIOD]) != {BEFORE, AFTER}:
        raise NoDataError(
            f"Change {change.change_id} has no final months of {measure.name} on both sides of"
            f" {change.started_month}.",
            try_next="dwell status",
        )
    return assess(
        site_months(sums("site", "month")),
        started_month=change.started_month,
        sites=sites,
        kind=measure.denominator_kind,
        multiplier=measure.multiplier,
        lag=lag,
        counts=own,
        terms=terms,
    )


def site_months(counts: PatternCounts) -> SiteMonths:
    """Add a measure's counts up by site and month, months without gaps."""
    sites, known = counts.levels["site"], counts.levels["month"]
    months = tuple(months_between(known[0], known[-1]))
    column = np.array([months.index(month) for month in known])[counts.codes["month"]]
    cell = counts.codes["site"] * len(months) + column
    sums = counts.sums.added_by(cell, len(sites) * len(months))
    shape = (len(sites), len(months))
    return SiteMonths(months, sites, sums.numerator.reshape(shape), sums.denominator.reshape(shape))


def _rate(name: str, rate: Rates) -> Row:
    from pipeline.words.numbers import json_number

    return {
        f"{name}_numerator": round(float(rate.numerator)),
        **{
            f"{name}_{part}": json_number(float(getattr(rate, part)))
            for part in ("denominator", "rate", "lower", "upper")
        },
    }


def _contrast(prefix: str, contrast: Contrast | None) -> Row:
    from pipeline.words.numbers import json_number

    return {
        f"{prefix}{name}": None if contrast is None else json_number(getattr(contrast, name))
        for name in _CONTRAST
    }


def _effect(name: str, effect: Effect | None) -> Row:
    from pipeline.words.numbers import json_number

    ends = {"": "ratio", "_lower": "lower", "_upper": "upper"}
    return {
        f"{name}{end}": None if effect is None else json_number(getattr(effect, field))
        for end, field in ends.items()
    }
