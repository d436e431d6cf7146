"""How often families call while the catheter is in place: by hour, by group, and with a model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from pipeline.analysis.survival.recurrent import (
    MeanCumulative,
    RecurrentEvents,
    mean_cumulative,
    of_episodes,
)
from pipeline.analysis.survival.recurrent_model import RecurrentModel, fit_recurrent_model
from pipeline.answers.removal_groups import group_name
from pipeline.answers.removal_model_json import model_terms, rows_of
from pipeline.measures.call_times import call_rows
from pipeline.measures.dimensions import group_labels
from pipeline.measures.periods import checked_months
from pipeline.measures.where import parse_condition
from pipeline.store import Store

if TYPE_CHECKING:
    import polars as pl

    from pipeline.figures.look import Drawing

CALL_HOURS = (24.0, 48.0, 72.0)


@dataclass(frozen=True)
class CallGroup:
    """One group's calls; `called` are its episodes with any."""

    name: str
    label: str
    episodes: int
    called: int
    calls: int
    curve: MeanCumulative
    events: RecurrentEvents

    def curve_at(self, hours: ArrayLike) -> MeanCumulative:
        """Return the same curve at other hours, shape (k,)."""
        return mean_cumulative(self.events, hours)


@dataclass(frozen=True)
class CallsResult:
    """Mean number of calls by hour, and rate ratios where a model was asked for.

    `later` calls came after the catheter was out, and are not among them.
    """

    groups: tuple[CallGroup, ...]
    later: int
    model: RecurrentModel | None

    def as_json(self) -> dict[str, Any]:
        """Return the keys that scripts rely on; without a model there is none."""
        from pipeline.words.calls import call_model_sentences

        names = ("hour", "n", "mean", "se", "lower", "upper")
        found: dict[str, Any] = {
            "groups": [
                {
                    "group": g.name or "all", "episodes": g.episodes, "called": g.called,
                    "calls": g.calls, "mean_calls": rows_of(names, _columns(g.curve)),
                }
                for g in self.groups
            ],
            "calls_after_removal": self.later,
        }  # fmt: skip
        if (model := self.model) is not None:
            fit = model.fit
            found["model"] = {
                "model": "andersen-gill",
                "asked": list(model.asked),
                "episodes": fit.episodes if fit else None,
                "events": fit.events if fit else None,
                "children": fit.children if fit else None,
                "missing": model.missing,
                "terms": model_terms(fit, "rate_ratio") if fit else [],
                "left_out": [asdict(left) for left in model.left_out],
                "sentences": call_model_sentences(model),
            }
        return found

    def frame(self) -> pl.DataFrame:
        """Return one row a group and hour: episodes in place, mean calls with 95% limits."""
        import polars as pl

        names = ("hour", "n", "mean", "se", "lower", "upper")
        return pl.concat(
            pl.DataFrame(dict(zip(names, _columns(g.curve), strict=True))).select(
                pl.lit(g.name or "all").alias("group"), pl.all().fill_nan(None)
            )
            for g in self.groups
        )

    def figure(self) -> Drawing:
        """Return mean calls by hour drawn, a line a group."""
        from pipeline.figures.calls import calls_figure

        return calls_figure(self.groups)


def _columns(curve: MeanCumulative) -> tuple[Any, ...]:
    return curve.hours, curve.n, curve.mean, curve.se, curve.lower, curve.upper


def calls_result(
    store: Store,
    *,
    by: str | None = None,
    where: str | None = None,
    first: str | None = None,
    last: str | None = None,
    at: Sequence[float] | None = CALL_HOURS,
    adjust: Sequence[str] = (),
) -> CallsResult:
    """Count calls of families from placement to removal; months of a site without any are out.

    Parameters
    ----------
    store : Store
        An open store.
    by : str, optional
        Column that makes the groups.
    where, first, last : str, optional
        A condition on the episodes, and the first and last month of placement, YYYY-MM.
    at : sequence of float, optional
        Hours since placement; None for every hour of a call.
    adjust : sequence of str
        Terms of a model of the rate of calls.

    Raises
    ------
    UsageError
        A column, condition or month is unknown.
    NoDataError
        No episode is left of which calls are known.
    """
    condition, months = parse_condition(where), checked_months(first, last)
    episodes, calls, later = call_rows(store, by, adjust, where=condition, months=months)
    number = episodes["episode"].to_numpy()
    order = np.argsort(number, kind="stable")
    of = order[np.searchsorted(number[order], calls["episode"].to_numpy())]
    everyone = RecurrentEvents(
        episodes["hours"].to_numpy(), episodes["child"].to_numpy(), of, calls["hours"].to_numpy()
    )
    labels = group_labels(store, by)
    group = episodes["group"].to_numpy()
    groups = tuple(
        _group(
            name,
            labels.get(name) or group_name(by, name),
            of_episodes(everyone, np.flatnonzero(group == name)),
            at,
        )
        for name in sorted(set(group.tolist()))
    )
    model = fit_recurrent_model(episodes, calls, adjust) if adjust else None
    return CallsResult(groups, later, model)


def _group(name: str, label: str, events: RecurrentEvents, at: Sequence[float] | None) -> CallGroup:
    hours = np.unique(events.at_h) if at is None else np.array(sorted(set(at)))
    curve = mean_cumulative(events, hours)
    called = len(np.unique(events.of))
    return CallGroup(name, label, len(events.until_h), called, len(events.of), curve, events)
