"""How complete each field is, by site and quarter of placement."""

from typing import TYPE_CHECKING

from pipeline.records.declaration import Field
from pipeline.records.layout import RECORDS, SYMPTOMS
from pipeline.store.session import Store

if TYPE_CHECKING:
    import polars as pl

_REMOVED = "coalesce(removed_h, removed_before_h) is not null"
_COURSE = "coalesce(contact_kind, 'course') = 'course'"
_HEARD = f"reached and {_COURSE}"
_FOLLOWED_UP = f"reached and not ({_COURSE})"

# Where a field can be expected, in SQL; everywhere unless it is named here.
EXPECTED: dict[str, dict[str, str]] = {
    "episode": {
        **dict.fromkeys(
            (
                "removal_time_source", "removal_reason", "removed_by", "removal_difficulty",
                "rebound_pain_score", "satisfaction_score",
            ),
            _REMOVED,
        ),
        "operation_key": "operation_key is not null",
        "last_known_in_place_h": f"not ({_REMOVED})",
    },
    "contact": {
        "minutes_to_answer": f"direction = 'family' and {_HEARD}",
        **dict.fromkeys(
            (
                *SYMPTOMS, "hoarse_voice", "drooping_lid", "pain_score", "leakage", "dressing",
                "redness_swelling", "limb_weakness", "fell", "opioid_doses", "outcome",
            ),
            _HEARD,
        ),
        **dict.fromkeys(
            ("clamped", "restarted", "seen"), f"topic = 'toxicity_symptom' and {_HEARD}"
        ),
        "contact_kind": "contact_kind is not null",
        **dict.fromkeys(("lasting_numbness", "lasting_weakness", "lasting_pain"), _FOLLOWED_UP),
    },
}  # fmt: skip
# Either of these says when a catheter came out, so they are one field.
_TIME = {"removed_h": _REMOVED}
_PART_OF_TIME = {"removed_after_h", "removed_before_h"}


def completeness(store: Store, quarter: str | None = None) -> "pl.DataFrame":
    """Count, for every optional field, the rows that should have it and those that do.

    Parameters
    ----------
    quarter : str, optional
        One quarter of placement, such as ``2025-Q4``; every one unless given.

    Returns
    -------
    polars.DataFrame
        A row a `record`, `field`, `site` and `quarter` (``2025-Q4``, of placement):
        `expected`, `filled` and `share`, null where none is expected. `removed_h` stands
        for a removal time of any kind.
    """
    import polars as pl

    frames = [_of_record(store, name, quarter) for name in ("episode", "contact")]
    return pl.concat(frames).with_columns(
        share=pl.when(pl.col("expected") > 0).then(pl.col("filled") / pl.col("expected"))
    )


def _fields(name: str) -> list[Field]:
    return [f for f in RECORDS[name].fields if not f.required and f.name not in _PART_OF_TIME]


def _of_record(store: Store, name: str, quarter: str | None) -> "pl.DataFrame":
    """Count in one pass over the record, then turn columns into rows."""
    import polars as pl

    fields = [field.name for field in _fields(name)]
    counts = ", ".join(_counts(name, field) for field in fields)
    source = name if name == "episode" else f"{name} join episode using (episode_id)"
    placed = "left(placed_month, 4) || '-Q' || ((right(placed_month, 2)::integer + 2) // 3)"
    wide = store.frame(
        f"select site, {placed} as quarter, {counts} from {source}"
        f" where ? is null or {placed} = ? group by all order by all",
        [quarter, quarter],
    )
    return pl.concat(
        wide.select(
            pl.lit(name).alias("record"),
            pl.lit(field).alias("field"),
            "site",
            "quarter",
            pl.col(f"{field}_expected").cast(pl.Int64).alias("expected"),
            pl.col(f"{field}_filled").cast(pl.Int64).alias("filled"),
        )
        for field in fields
    )


def _counts(name: str, field: str) -> str:
    expected = EXPECTED[name].get(field, "true")
    filled = _TIME.get(field, f"{name}.{field} is not null")
    return (
        f"count(*) filter (where {expected}) as {field}_expected,"
        f" count(*) filter (where ({expected}) and {filled}) as {field}_filled"
    )


def known_by_site(store: Store, quarter: str) -> list[tuple[str, int, int, int, int, int, int]]:
    """Return what is known of each site's catheters of a quarter, a row a site.

    Its label, catheters, those of known time in place, those of known reason, those
    removed, planned calls, and calls that reached the family.
    """
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
    return [(a, int(b), int(c), int(d), int(e), int(f), int(g)) for a, b, c, d, e, f, g in rows]
