"""Rows, waiting rows and completeness of a quarter, from the store."""

from __future__ import annotations

from pipeline.report.quality_section import DataQuality, FileRows, SiteQuality, WaitingRows
from pipeline.store import Store, holdings


def data_quality(store: Store, quarter: str) -> DataQuality:
    """Return what section 6 of the report shows.

    Parameters
    ----------
    store : Store
        An open store.
    quarter : str
        The quarter whose completeness is shown.
    """
    return DataQuality(_files(store), _waiting(store), _sites(store, quarter))


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
        "with call as ("
        " select contact.episode_id, count(*) as calls,"
        " count(case when contact.reached then 1 end) as reached"
        " from contact where contact.direction = 'service' group by contact.episode_id)"
        " select site_label, count(*), count(case when is_dwell_known then 1 end),"
        " count(case when is_removed and reason <> 'not_recorded' then 1 end),"
        " count(case when is_removed then 1 end),"
        " coalesce(sum(calls), 0), coalesce(sum(reached), 0)"
        " from episode_dwell left join call using (episode_id) where placed_quarter = ?"
        " group by site_label order by site_label",
        [quarter],
    )
    return tuple(SiteQuality(label, *(int(n) for n in counts)) for label, *counts in rows)
