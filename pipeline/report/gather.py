"""The size of a quarter, and what its figures are made from."""

from __future__ import annotations

from pipeline.report.front import Facts
from pipeline.settings import Settings
from pipeline.store import Store


def facts(
    store: Store, quarter: str, settings: Settings, *, audience: str, small_cell: int
) -> Facts:
    """Return the size of a quarter and what its figures are made from."""
    ((sites, catheters, days, unknown),) = store.rows(
        "select count(distinct site), count(*), coalesce(sum(catheter_days), 0),"
        " count(case when not is_dwell_known then 1 end)"
        " from episode_dwell where placed_quarter = ?",
        [quarter],
    )
    ((contacts, reached),) = store.rows(
        "select count(*), count(case when contact.reached then 1 end) from contact"
        " inner join episode_dwell using (episode_id)"
        " where contact.direction = 'service' and placed_quarter = ?",
        [quarter],
    )
    ((waiting,),) = store.rows("select count(*) from set_aside where cleared_by is null")
    return Facts(
        quarter=quarter,
        network=settings.network,
        sites=sites,
        catheters=catheters,
        catheter_days=round(float(days), 6),
        unknown_dwell=unknown,
        contacts=contacts,
        reached=reached,
        set_aside=waiting,
        fingerprint=store.fingerprint(),
        as_of=store.as_of().isoformat(),
        audience=audience,
        small_cell=small_cell,
    )
