"""The programme's store from Python: every answer that the commands print, as a method."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from pipeline.measures.catalogue import Measure, find_measure, measures_in_force
from pipeline.measures.periods import checked_months
from pipeline.settings import Settings, load_settings
from pipeline.store import Store
from pipeline.store import open_store as open_file

if TYPE_CHECKING:
    import polars as pl

    from pipeline.analysis.survival.model_data import Model
    from pipeline.answers.actions import ActionList
    from pipeline.answers.calls import CallsResult
    from pipeline.answers.change import JudgedChanges
    from pipeline.answers.charts import MeasureCharts
    from pipeline.answers.comparison import ComparedGroups
    from pipeline.answers.events import EventList
    from pipeline.answers.measures import MeasureRates
    from pipeline.answers.removal import RemovalResult
    from pipeline.answers.signals import QuarterSignals
    from pipeline.measures.series import Where

Names = str | Sequence[str]


class Programme(Store):
    """An open store that answers as the commands do.

    Every method returns the result that the command of its name prints: `.frame()` gives
    it as a polars frame, `.as_json()` as the command's JSON, `.figure()` as a drawing that
    `.save(path)` writes. Without the name of a measure, `measures`, `chart` and `compare` take
    all. They raise `UsageError` where a name is unknown and `NoDataError` where no episode is left.
    """

    settings: Settings

    def measures(
        self,
        *names: str,
        by: Names = "month",
        site: Names = (),
        first: str | None = None,
        last: str | None = None,
    ) -> MeasureRates:
        """Return rates in each measure's unit, with 95% limits; see `dwell measures`."""
        from pipeline.answers.measures import measure_rates

        chosen = [measure.name for measure in _measures(names, self.settings)]
        return measure_rates(
            self, chosen, by=_several(by), where=_at(site), first=first, last=last,
            settings=self.settings,
        )  # fmt: skip

    def chart(
        self,
        *names: str,
        site: Names = (),
        by: str | None = None,
        period: str = "month",
        kind: str | None = None,
    ) -> MeasureCharts:
        """Return control charts, a point a month or quarter; see `dwell chart`."""
        from pipeline.answers.charts import measure_charts

        return measure_charts(
            self, _measures(names, self.settings), period=period, by=by, kind=kind, where=_at(site),
            settings=self.settings,
        )  # fmt: skip

    def signals(self, quarter: str) -> QuarterSignals:
        """Return what all charts of a quarter signal, network and sites; see `dwell signals`."""
        from pipeline.answers.signals import quarter_signals

        return quarter_signals(self, quarter, settings=self.settings)

    def removal(
        self,
        *,
        by: str | None = None,
        where: str | None = None,
        first: str | None = None,
        last: str | None = None,
        at: Sequence[float] | None = (24.0, 48.0, 72.0),
        reason: str = "dislodged",
        adjust: Sequence[str] = (),
        model: Model | Literal["aft"] = "cox",
        strata: str | None = None,
    ) -> RemovalResult:
        """Return time in place (hours) and reasons of removal; see `dwell removal`."""
        from pipeline.answers.removal import removal_result

        return removal_result(
            self, by=by, where=where, first=first, last=last, at=at, reason=reason, adjust=adjust,
            model=model, strata=strata,
        )  # fmt: skip

    def calls(
        self,
        *,
        by: str | None = None,
        where: str | None = None,
        first: str | None = None,
        last: str | None = None,
        at: Sequence[float] | None = (24.0, 48.0, 72.0),
        adjust: Sequence[str] = (),
    ) -> CallsResult:
        """Return mean calls of families by hour since placement; see `dwell calls`."""
        from pipeline.answers.calls import calls_result

        return calls_result(self, by=by, where=where, first=first, last=last, at=at, adjust=adjust)

    def survival_frame(
        self,
        *covariates: str,
        where: str | None = None,
        first: str | None = None,
        last: str | None = None,
    ) -> pl.DataFrame:
        """Return a row an episode in the shape that lifelines takes."""
        from pipeline.answers.removal_models import survival_frame

        return survival_frame(self, *covariates, where=where, first=first, last=last)

    def compare(
        self,
        *names: str,
        by: str = "site",
        first: str | None = None,
        last: str | None = None,
    ) -> ComparedGroups:
        """Return groups set against what is expected of them; see `dwell compare`."""
        from pipeline.answers.comparison import compare_groups

        months = checked_months(first, last)
        return compare_groups(
            self,
            _measures(names, self.settings),
            by=by,
            months=months,
            settings=self.settings,
        )

    def change(self, change_id: str | None = None, *names: str) -> JudgedChanges:
        """Return logged changes judged before against after; see `dwell change`."""
        from pipeline.answers.change import judge_changes

        return judge_changes(self, change_id, measures=names, settings=self.settings)

    def events(
        self, *, site: Names = (), first: str | None = None, last: str | None = None
    ) -> EventList:
        """Return the serious events, and which are not reviewed; see `dwell events`."""
        from pipeline.answers.events import serious_events

        return serious_events(
            self, sites=_several(site), first=first, last=last, settings=self.settings
        )

    def actions(self, until: str) -> ActionList:
        """Return the improvement actions as they stood at the end of a month, YYYY-MM."""
        from pipeline.answers.actions import improvement_actions

        return improvement_actions(self, until)


@contextmanager
def open_programme(path: Path | str, *, settings: Path | str | None = None) -> Iterator[Programme]:
    """Open a store for reading, with the programme's settings.

    Parameters
    ----------
    path : Path or str
        The DuckDB file.
    settings : Path or str, optional
        The TOML file; `dwell.toml` in this folder where there is one.

    Raises
    ------
    StoreError
        The store is missing, in use, damaged or of a newer schema.
    SettingsError
        The settings hold an unknown or impossible value.
    """
    values = load_settings(None if settings is None else Path(settings))
    with open_file(path) as store:
        programme = Programme(store.connection, store.path)
        programme.settings = values
        yield programme


def _several(names: Names) -> tuple[str, ...]:
    return (names,) if isinstance(names, str) else tuple(names)


def _at(site: Names) -> Where | None:
    return {"site": list(_several(site))} if site else None


def _measures(names: Sequence[str], settings: Settings) -> list[Measure]:
    """Return the measures named; all that are counted where none is."""
    return [find_measure(name, settings) for name in names] or measures_in_force(settings)
