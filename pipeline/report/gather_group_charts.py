"""Each group's own control charts of some measures, as they may be drawn."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from pipeline.analysis.charts import Change, ControlChart, Counts, control_charts
from pipeline.analysis.charts.results import GAPS
from pipeline.disclosure import Policy
from pipeline.disclosure.whole_series import drawn_whole
from pipeline.measures.catalogue import Measure
from pipeline.measures.events import event_order
from pipeline.measures.log import LoggedChange, logged_changes
from pipeline.measures.periods import EARLIEST
from pipeline.measures.series import series
from pipeline.report.gather_charts import counts_of, gap_counts, is_rare
from pipeline.report.group_charts import GroupCharts
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.words.chart import BETWEEN

if TYPE_CHECKING:
    import polars as pl

FEWEST_EVENTS = 3  # fewer gaps are no chart


def group_charts(
    store: Store,
    measures: Sequence[Measure],
    by: str,
    groups: Sequence[str],
    last_month: str,
    *,
    policy: Policy,
    settings: Settings,
) -> GroupCharts:
    """Chart some measures for some groups, from the first month to the last.

    Where small counts are withheld a point is a quarter, and a chart is drawn whole or
    not at all; events of rare measures are then counted by quarter too, since a point
    of their own charts is one child.

    Parameters
    ----------
    store : Store
        An open store.
    measures : sequence of Measure
        What to chart.
    by : {"site", "surgeon_type"}
        What makes the groups.
    groups : sequence of str
        Codes of the groups to chart; disclosure looks at all of them.
    last_month : str
        The last month charted.
    policy : Policy
        What may be shown.
    settings : Settings
        The programme's settings.
    """
    maker = _Maker(
        store=store,
        by=by,
        months=(EARLIEST, last_month),
        changes=tuple(logged_changes(store, last_month)),
        is_quarterly=not policy.is_confidential,
        policy=policy,
        settings=settings,
    )
    charts: dict[str, dict[str, ControlChart]] = {group: {} for group in groups}
    for measure, made in maker.all_charts(measures, groups):
        for group, chart in made.items():
            charts[group][measure.name] = chart
    return GroupCharts(tuple(measures), charts, maker.is_quarterly)


@dataclass(frozen=True, eq=False)
class _Maker:
    """What the charts of every measure and group share."""

    store: Store
    by: str
    months: tuple[str, str]
    changes: tuple[LoggedChange, ...]
    is_quarterly: bool
    policy: Policy
    settings: Settings

    def all_charts(
        self, measures: Sequence[Measure], groups: Sequence[str]
    ) -> Iterator[tuple[Measure, dict[str, ControlChart]]]:
        """Yield each measure with its charts by group, those only that may be drawn."""
        period = "quarter" if self.is_quarterly else "month"
        counted = [m for m in measures if self.is_quarterly or not is_rare(m)]
        frame = series(
            self.store, counted, (period, self.by), months=self.months, settings=self.settings
        )
        for measure in measures:
            if measure in counted:
                parts = self._counts(frame.filter(frame["measure"] == measure.name), period)
            else:
                parts = self._gaps(measure)
            yield measure, self._charts(measure, {g: parts[g] for g in groups if g in parts})

    def _counts(self, frame: pl.DataFrame, period: str) -> dict[str, Counts]:
        """Return counts by period of the groups that may be drawn."""
        parts = frame.partition_by(self.by, maintain_order=True)
        drawn = drawn_whole(self.policy, [_cells(part) for part in parts])
        return {
            str(part[self.by][0]): counts_of(part, period)
            for part, is_drawn in zip(parts, drawn, strict=True)
            if is_drawn
        }

    def _gaps(self, measure: Measure) -> dict[str, Counts]:
        """Return the gap before each event, of every group that has a few."""
        events = event_order(
            self.store, measure, by=self.by, months=self.months, settings=self.settings
        )
        events = events.filter(events["numerator"] > 0)
        return {
            str(part[self.by][0]): gap_counts(part, measure)
            for part in events.partition_by(self.by, maintain_order=True)
            if len(part) >= FEWEST_EVENTS
        }

    def _charts(self, measure: Measure, parts: dict[str, Counts]) -> dict[str, ControlChart]:
        kind = measure.charts[0].value
        if is_rare(measure) and self.is_quarterly:
            kind = "p" if measure.denominator_kind == "proportion" else "u"
        is_of_gaps = kind in GAPS
        made = control_charts(
            list(parts.values()),
            kind=kind,
            changes=[self._log(measure, group) for group in parts],
            multiplier=1.0 if is_of_gaps else measure.multiplier,
            unit=BETWEEN[kind] if is_of_gaps else measure.unit,
        )
        return dict(zip(parts, made, strict=True))

    def _log(self, measure: Measure, group: str) -> tuple[Change, ...]:
        """Return the changes that concern a measure in a group."""
        return tuple(
            Change(
                c.started("quarter" if self.is_quarterly else "month"),
                c.title,
                c.new_phase,
                c.change_id,
            )
            for c in self.changes
            if c.concerns(measure.name, (group,) if self.by == "site" else ())
        )


def _cells(part: pl.DataFrame) -> NDArray[np.float64]:
    """Return every count of children that could be read off a group's points."""
    known, with_event = part["ascertained"].to_numpy(), part["with_event"].to_numpy()
    return np.column_stack([with_event, known - with_event, known]).astype(float)
