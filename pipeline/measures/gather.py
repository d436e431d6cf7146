"""Counts brought back from where records stay: all that a store needs to answer without them."""

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from pipeline.errors import NoDataError
from pipeline.measures import dwell_counts
from pipeline.measures.catalogue import Measure, load_catalogue
from pipeline.measures.clustering import child_sums
from pipeline.measures.counting import ALL, counted_beside
from pipeline.measures.dimensions import COMPARED_BY, DIMENSIONS, GROUPED_BY, case_mix_terms
from pipeline.measures.events import MOST_EVENTS
from pipeline.measures.log import logged_changes
from pipeline.measures.patterns import (
    COUNTS,
    IS_FIRST,
    PERIOD,
    SUMS,
    factor_columns,
    final_months,
    pattern_question,
)
from pipeline.outputs import scratch_folder
from pipeline.settings import Settings
from pipeline.store import COUNTED_BY, READY_COUNTS, Store, counts_sql, open_store
from pipeline.store.counts_store import begin_counts
from pipeline.store.engines import open_platform
from pipeline.store.platform import Platform

Progress = Callable[[str], None]
MEASURED = "measured"  # every measure's rows, kept for the session
MONTH_NUMBER = (
    "(cast(substr(placed_month, 1, 4) as bigint) * 12 + cast(substr(placed_month, 6) as bigint))"
)
OF_GAPS = {"g", "t"}  # charts of the waits between events


def gather(
    engine: str,
    records: str,
    out: Path,
    *,
    as_of: dt.date,
    settings: Settings,
    adjusted: Sequence[str],
    confirmed: bool,
    progress: Progress,
) -> dict[str, int]:
    """Count in an engine what a store answers from, and write a store of these counts.

    Parameters
    ----------
    engine, records
        As `open_platform` takes them.
    out : Path
        The store of counts, made or made anew: whole, or as it was.
    as_of : date
        When the records were as they are.
    settings : Settings
        What rules in SQL read; whoever reads the counts needs the same.
    adjusted : sequence of str
        Names of `COMPARED_BY`, to compare with allowance for case mix.
    confirmed : bool
        Somebody has read titles, labels and site codes: they name nobody.
    progress : callable
        Told what is counted.

    Returns
    -------
    dict of str to int
        By table the rows left out because they break a rule of the layout.

    Raises
    ------
    InputError
        The engine is not there, or its tables are not those of the layout.
    StoreError
        The store cannot be written, or holds records.
    """
    place = out.resolve().parent
    with scratch_folder(place) as scratch, open_platform(engine, records, scratch) as platform:
        progress("the records")
        left_out = platform.prepare(f"{as_of:%Y-%m}", settings)
        (files := scratch / "programme").mkdir()
        with open_store(out, read_only=False) as store:
            begin_counts(store, platform, as_of, settings, files, confirmed=confirmed)
            _fill(platform, store, adjusted, progress)
    return left_out


def _fill(platform: Platform, store: Store, adjusted: Sequence[str], progress: Progress) -> None:
    cards = load_catalogue()
    progress("measures by month and site")
    platform.keep(MEASURED, _rows_of(cards.values()))
    beside = [card for name, card in counted_beside().items() if name not in cards]
    for rows in (MEASURED, f"({_rows_of(beside)})"):
        store.insert_frame(READY_COUNTS, platform.frame(_counted(rows, "site", "site")))
    if not store.rows(f"select 1 from {READY_COUNTS} limit 1"):
        raise NoDataError("There is no episode among the records.")
    for name in GROUPED_BY:
        if DIMENSIONS[name].column not in COUNTED_BY:
            progress(f"measures by {DIMENSIONS[name].title}")
            frame = platform.frame(_counted(MEASURED, DIMENSIONS[name].as_text, "level"))
            store.insert_frame("gathered_group", _marked(frame, grouped_by=name))
    progress("time in place")
    for by in (None, *GROUPED_BY):
        frame = dwell_counts.removal_rows(platform, by).drop("stratum")
        store.insert_frame("gathered_removal", _marked(frame, grouped_by=by or ALL))
    store.insert_frame("gathered_interval", dwell_counts.interval_rows(platform))
    store.insert_frame("gathered_clock", dwell_counts.clock_rows(platform))
    store.insert_frame("gathered_pump", dwell_counts.pump_rows(platform))
    for card in cards.values():
        if OF_GAPS & {chart.value for chart in card.charts}:
            progress(f"{card.title}, one by one where rare")
            _gather_events(platform, store, card)
        if card.denominator_kind == "rate":
            sums = platform.frame(child_sums(f"({_of(card)})", "episode_dwell"))
            store.insert_frame("gathered_child", _marked(sums, measure=card.name))
    asked = _questions(store, list(cards.values()), adjusted)
    for number, (name, question) in enumerate(asked.items(), 1):
        progress(f"comparisons and changes, {number} of {len(asked)}")
        _gather_patterns(platform, store, name, question)


def _marked(frame: pl.DataFrame, **columns: str) -> pl.DataFrame:
    return frame.with_columns(**{name: pl.lit(value) for name, value in columns.items()})


def _rows_of(cards: Iterable[Measure]) -> str:
    return " union all ".join(
        f"select '{card.name}' as measure, episode_id, cast(numerator as integer) as numerator,"
        f" cast(denominator as double) as denominator from ({card.sql}) as rows_{number}"
        for number, card in enumerate(cards)
    )


def _of(card: Measure) -> str:
    return f"select * from {MEASURED} where measure = '{card.name}'"


def _counted(rows: str, level: str, name: str) -> str:
    return (
        f"select measure, placed_month, placed_quarter, {level} as {name},"
        f" {counts_sql(f'{rows} as one')}"
        " inner join episode_dwell on one.episode_id = episode_dwell.episode_id"
        f" group by measure, placed_month, placed_quarter, {level}"
    )


def _gather_events(platform: Platform, store: Store, card: Measure) -> None:
    """Bring the events of the sites, or of all, that were ever rare there."""
    rare = store.rows(
        f"""
        with labelled as (
            select unnest([site, '{ALL}']) as label, placed_month, with_event
            from {READY_COUNTS} where measure = $1
        ),
        monthly as (
            select label, {MONTH_NUMBER} as month, sum(with_event) as events
            from labelled group by all
        )
        select distinct label from (
            select label, month - min(month) over () + 1 as months,
                sum(events) over (partition by label order by month) as events
            from monthly
        ) where events <= {MOST_EVENTS} * months""",
        [card.name],
    )
    labels = ", ".join(f"'{label}'" for (label,) in rare)
    if not labels:
        return
    frame = platform.frame(f"""
        with placed as (
            select one.numerator, dwell.site, dwell.placed_month, dwell.month_order,
                cast(dwell.catheter_days as decimal(18, 12)) as days
            from ({_of(card)}) as one
            inner join episode_dwell as dwell on one.episode_id = dwell.episode_id
            where one.numerator is not null and one.denominator > 0
        ),
        labelled as (
            select site as label, placed.* from placed where site in ({labels})
            union all
            select '{ALL}' as label, placed.* from placed where '{ALL}' in ({labels})
        ),
        running as (
            select label, placed_month, numerator,
                row_number() over so_far as catheters,
                sum(days) over so_far as catheter_days,
                row_number() over (
                    partition by label, placed_month order by month_order desc, site desc
                ) as from_end
            from labelled
            window so_far as (
                partition by label order by placed_month, month_order, site
                rows unbounded preceding
            )
        )
        select label as site, placed_month as month, numerator, catheters, catheter_days
        from running where numerator > 0 or from_end = 1""")
    store.insert_frame("gathered_event", _marked(frame, measure=card.name))


@dataclass
class _Question:
    """What comparisons or changes count: measures by factors, in the months of placement."""

    factors: tuple[str, ...]
    months: tuple[str, str]
    started: str | None = None
    measures: set[str] = field(default_factory=set)


def _questions(
    store: Store, cards: Sequence[Measure], adjusted: Sequence[str]
) -> dict[str, _Question]:
    """List what comparisons of all measures or of one ask, and what logged changes ask."""
    found: dict[str, _Question] = {}

    def ask(
        measures: Sequence[Measure], factors: Sequence[str], months: tuple[str, str],
        started: str | None = None,
    ) -> None:  # fmt: skip
        names = tuple(dict.fromkeys(factors))
        question = _Question(names, months, started)
        one = found.setdefault(pattern_question(store, names, months, started), question)
        one.measures.update(measure.name for measure in measures)

    finals = {card.name: final_months(store, [card], None) for card in cards}
    for months in set(finals.values()):
        for by in COMPARED_BY:
            ask(cards, [by], months)
        for by in adjusted:
            terms = (term for card in cards for term in case_mix_terms(card, by))
            ask(cards, [by, *terms], months)
    for card in cards:
        for by in adjusted:
            ask([card], [by, *case_mix_terms(card, by)], finals[card.name])
    for change in logged_changes(store):
        for card in (card for card in cards if change.concerns(card.name)):
            ask([card], ["site", "month"], finals[card.name])
            factors = [PERIOD, "site", *case_mix_terms(card)]
            ask([card], factors, finals[card.name], change.started_month)
    return found


def _gather_patterns(platform: Platform, store: Store, name: str, question: _Question) -> None:
    listed = ", ".join(f"factor_{factor}" for factor in question.factors)
    first, last = question.months
    measures = ", ".join(f"'{measure}'" for measure in sorted(question.measures))
    factored = f"""
        with factored as (
            select episode_id, {IS_FIRST}, {factor_columns(question.factors, question.started)}
            from episode_dwell where placed_month between '{first}' and '{last}'
        )"""
    sums = ", ".join(f"{term} as {sum_}" for sum_, term in {**COUNTS, **SUMS}.items())
    frame = platform.frame(f"""{factored},
        paired as (
            select one.measure, factored.*,
                case when one.denominator > 0 then one.numerator end as y,
                cast(one.denominator as decimal(12, 6)) as d
            from {MEASURED} as one inner join factored on one.episode_id = factored.episode_id
            where one.measure in ({measures})
                and (one.denominator is null or one.denominator > 0)
        )
        select measure, {listed}, {sums} from paired group by measure, {listed}""")
    cells = platform.frame(f"{factored} select distinct {listed} from factored")
    for rows in (frame, cells):
        store.insert_frame("gathered_pattern", _marked(rows, question=name))
    store.insert("gathered_question", [(name, measure) for measure in question.measures])
