"""Rows, waiting rows and completeness of a quarter, from the store."""

from __future__ import annotations

from pipeline.figures.completeness import BANDS, FieldShare
from pipeline.measures.catalogue import load_catalogue
from pipeline.measures.counting import ALL
from pipeline.measures.dimensions import site_labels
from pipeline.measures.published import drift
from pipeline.report.quality import DataQuality, FileRows, MovedFigure, SiteQuality, WaitingRows
from pipeline.settings import Settings
from pipeline.store import Store, holdings
from pipeline.store.completeness import completeness

FULL = BANDS[0][0]


def data_quality(store: Store, quarter: str, settings: Settings) -> DataQuality:
    """Return what section 6 of the report shows.

    Parameters
    ----------
    store : Store
        An open store.
    quarter : str
        The quarter whose completeness is shown.
    settings : Settings
        The programme's settings.
    """
    frozen = tuple(q for (q,) in store.rows("select distinct quarter from published order by 1"))
    return DataQuality(
        files=_files(store),
        waiting=_waiting(store),
        sites=_sites(store, quarter),
        fields=_fields(store, quarter),
        moved=_moved(store, settings) if frozen else (),
        frozen=frozen,
    )


def _fields(store: Store, quarter: str) -> tuple[FieldShare, ...]:
    """Return completeness by field and site; fields that are whole everywhere are left out."""
    labels = site_labels(store)
    rows = completeness(store, quarter).sort("site").to_dicts()
    low = {row["field"] for row in rows if row["share"] is not None and row["share"] < FULL}
    return tuple(
        FieldShare(row["field"], labels.get(row["site"], row["site"]), row["share"])
        for row in sorted(rows, key=lambda row: row["record"] != "episode")
        if row["field"] in low
    )


def _moved(store: Store, settings: Settings) -> tuple[MovedFigure, ...]:
    catalogue = load_catalogue()
    return tuple(
        MovedFigure(
            quarter=row["quarter"],
            title=catalogue[row["measure"]].title
            if row["measure"] in catalogue
            else row["measure"],
            published=_ratio(row["published_numerator"], row["published_denominator"]),
            now=_ratio(row["numerator"], row["denominator"]),
            why=row["why"],
        )
        for row in drift(store, settings=settings).to_dicts()
        if row["site"] == ALL
    )


def _ratio(numerator: float | None, denominator: float | None) -> str:
    return "none" if denominator is None else f"{numerator or 0:,} / {denominator:,.0f}"


def _files(store: Store) -> tuple[FileRows, ...]:
    rows = store.rows(
        "select record, sum(rows_in), sum(rows_new + rows_corrected), sum(rows_unchanged),"
        " sum(rows_set_aside) from load_file inner join load using (load_id)"
        " where kind = 'load' and undone_by is null group by record order by record"
    )
    return tuple(FileRows(record, *(int(n) for n in counts)) for record, *counts in rows)


def _waiting(store: Store) -> tuple[WaitingRows, ...]:
    found: dict[tuple[str, str, str], int] = {}
    for row in holdings.set_aside(store).to_dicts():
        key = (row["record"], row["column"] or "", row["rule"])
        found[key] = found.get(key, 0) + row["rows"]
    ordered = sorted(found.items(), key=lambda entry: (entry[0][0], -entry[1], entry[0]))
    return tuple(WaitingRows(*key, rows) for key, rows in ordered)


def _sites(store: Store, quarter: str) -> tuple[SiteQuality, ...]:
    rows = store.rows(
        "with placed as materialized (select * from episode_dwell where placed_quarter = ?),"
        " call as ("
        " select contact.episode_id, count(*) as calls,"
        " count(case when contact.reached then 1 end) as reached"
        " from contact inner join placed using (episode_id)"
        " where contact.direction = 'service' group by contact.episode_id)"
        " select site_label, count(*), count(case when is_dwell_known then 1 end),"
        " count(case when is_removed and reason <> 'not_recorded' then 1 end),"
        " count(case when is_removed then 1 end),"
        " coalesce(sum(calls), 0), coalesce(sum(reached), 0)"
        " from placed left join call using (episode_id)"
        " group by site_label order by site_label",
        [quarter],
    )
    return tuple(SiteQuality(label, *(int(n) for n in counts)) for label, *counts in rows)
