"""Every control chart of a quarter looked at, and what they signal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from pipeline.analysis.charts import RULES, ControlChart, Counts, Signal, control_charts
from pipeline.analysis.charts.discovery import adjusted_p
from pipeline.analysis.charts.results import GAPS
from pipeline.analysis.rates.multiplicity import FALSE_DISCOVERY_RATE
from pipeline.cli.chart_counts import gap_counts, period_counts
from pipeline.cli.charting import OVERALL, concerning
from pipeline.measures.catalogue import Better, Measure, load_catalogue
from pipeline.measures.events import event_order
from pipeline.measures.log import LoggedChange, logged_changes
from pipeline.measures.periods import months_of
from pipeline.measures.series import series
from pipeline.measures.signal_log import LoggedSignal, is_kept, keep_signals
from pipeline.settings import Settings
from pipeline.store import Store
from pipeline.words.chart import BETWEEN, signal_sentence

EARLIEST = "0000-01"
WORSE_FIRST = {"worse": 0, "": 1, "better": 2}


@dataclass(frozen=True, eq=False)
class Looked:
    """One chart that was looked at."""

    measure: Measure
    site: str
    chart: ControlChart


@dataclass(frozen=True, eq=False)
class Found:
    """One signal, in its chart, judged among all charts looked at."""

    looked: Looked
    signal: Signal
    adjusted_p: float

    @property
    def stands(self) -> bool:
        """Whether it stands at the false discovery rate among all charts."""
        return self.adjusted_p <= FALSE_DISCOVERY_RATE

    @property
    def direction(self) -> str:
        """Better, worse, or neither; on rare-event charts above the line is fewer events."""
        if self.signal.direction not in {"above", "below"}:
            return ""
        more = (self.signal.direction == "above") != _is_rare(self.looked.measure)
        return "better" if more == (self.looked.measure.better is Better.HIGHER) else "worse"

    @property
    def logged(self) -> LoggedSignal:
        """The signal as it is kept."""
        signal = self.signal
        return LoggedSignal(
            self.looked.measure.name, self.looked.site, signal.kind, signal.direction,
            signal.first, signal.last, signal_sentence(self.looked.chart, signal),
            signal.p_value, self.adjusted_p,
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Scan:
    """All signals that name a point of the quarter, most important first.

    `limits_since` gives, by measure and site, the first period of the limits in force.
    """

    quarter: str
    charts: int
    found: tuple[Found, ...]
    limits_since: Mapping[tuple[str, str], str]


def scan(material: Sequence[Material], log: Sequence[LoggedChange], quarter: str) -> Scan:
    """Judge every measure's chart, of the network and of each site, up to a quarter.

    A signal counts where it names a point of the quarter. Among all charts that
    have such a point, and all rules, the false discovery rate is held.

    Raises
    ------
    UsageError
        `quarter` is none.
    """
    first, last = months_of(quarter)
    known = [entry for entry in log if entry.started_month <= last]
    looked = [
        one
        for of_measure in material
        for one in _charted(of_measure.until(last), known)
        if _has_point(one.chart, first)
    ]
    signals = [(one, s) for one in looked for s in one.chart.signals if s.last >= first]
    adjusted = adjusted_p([s for _, s in signals], len(looked) * len(RULES))
    found = [Found(one, s, float(p)) for (one, s), p in zip(signals, adjusted, strict=True)]
    since = {(one.measure.name, one.site): _limits_since(one.chart) for one in looked}
    return Scan(quarter, len(looked), tuple(sorted(found, key=importance)), since)


def scan_quarter(store: Store, quarter: str, settings: Settings) -> Scan:
    """Read and judge what `scan` judges."""
    material = read_material(store, months_of(quarter)[1], settings)
    return scan(material, logged_changes(store), quarter)


def keep_scan(store: Store, found: Scan) -> None:
    """Keep a quarter's list in a store open for writing, unless the same is kept already."""
    logged = [one.logged for one in found.found]
    if not is_kept(store, found.quarter, logged):
        keep_signals(store, found.quarter, logged, found.charts)


def importance(found: Found) -> tuple[object, ...]:
    """Order: what stands, what is worse, outcomes first, then by how unlikely chance is."""
    measure = found.looked.measure
    kinds = ("outcome", "process", "balancing")
    return (
        not found.stands, WORSE_FIRST[found.direction], kinds.index(measure.kind.value),
        found.adjusted_p, found.signal.p_value, measure.name, found.looked.site, found.signal.kind,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Material:
    """The series of one measure, of the network and of each site."""

    measure: Measure
    parts: tuple[tuple[str, Counts], ...]

    def until(self, month: str) -> Material:
        """Return the series up to a month; sites that had not begun are left out."""
        kept = ((site, counts.until(month)) for site, counts in self.parts)
        return replace(self, parts=tuple((site, counts) for site, counts in kept if counts.periods))


def read_material(store: Store, last_month: str, settings: Settings) -> list[Material]:
    """Read every measure's series up to a month.

    Raises
    ------
    NoDataError
        The store holds no episode up to it.
    """
    measures = list(load_catalogue().values())
    months = (EARLIEST, last_month)
    counted = [measure for measure in measures if not _is_rare(measure)]
    frame = series(
        store, counted, ("month", "site"), months=months, with_total=True, settings=settings
    )
    of_measure = frame.partition_by("measure", as_dict=True, maintain_order=True)
    found = []
    for measure in measures:
        if _is_rare(measure):
            events = event_order(
                store, measure, by="site", with_total=True, months=months, settings=settings
            )
            sites = events.partition_by("site", maintain_order=True)
            kind = measure.charts[0].value
            parts = [(str(part["site"][0]), gap_counts(part, kind)) for part in sites]
        else:
            sites = of_measure[(measure.name,)].partition_by("site", maintain_order=True)
            parts = [(str(part["site"][0]), period_counts(part, "month")) for part in sites]
        found.append(Material(measure, tuple(parts)))
    return found


def _charted(material: Material, log: Sequence[LoggedChange]) -> Iterator[Looked]:
    measure, parts = material.measure, material.parts
    rare, kind = _is_rare(measure), measure.charts[0].value
    charts = control_charts(
        [counts for _, counts in parts],
        kind=kind,
        changes=[
            concerning(log, measure, sites=() if site == OVERALL else (site,)) for site, _ in parts
        ],
        multiplier=1.0 if rare else measure.multiplier,
        unit=BETWEEN.get(kind, measure.unit),
    )
    for (site, _), chart in zip(parts, charts, strict=True):
        yield Looked(measure, site, chart)


def _is_rare(measure: Measure) -> bool:
    return measure.charts[0].value in GAPS


def _has_point(chart: ControlChart, first_month: str) -> bool:
    return any(
        period >= first_month and judged
        for period, judged in zip(chart.periods, chart.judged.tolist(), strict=True)
    )


def _limits_since(chart: ControlChart) -> str:
    """Return the first period of the limits in force at the end."""
    return chart.periods[chart.limit_set.tolist().index(int(chart.limit_set[-1]))]
