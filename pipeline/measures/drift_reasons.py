"""Why figures of a quarter are others than they were after a given load."""

from collections.abc import Iterable
from dataclasses import dataclass

from pipeline.records.layout import RECORDS
from pipeline.store import Store

TABLES = ("episode", "contact", "visit")
# In words, one and several.
WORDS = {
    "new": ("new {record}", "new {record}s"),
    "taken_back": ("{record} taken back", "{record}s taken back"),
    "corrected": ("{record} corrected", "{record}s corrected"),
    "matured": ("{record} completed since (maturity)", "{record}s completed since (maturity)"),
}


@dataclass(frozen=True)
class Causes:
    """Rows that changed, by record, cause and site."""

    rows: dict[tuple[str, str, str], int]

    def words(self, reads: Iterable[str], site: str) -> list[str]:
        """Say what changed in the records that a measure reads, at one site or at all."""
        records = {"episode", *(name for name in TABLES if any(name in read for read in reads))}
        found = []
        for record in TABLES:
            for cause, (one, several) in WORDS.items():
                count = sum(
                    rows
                    for (r, c, s), rows in self.rows.items()
                    if r == record and c == cause and site in {s, "all"}
                )
                if record in records and count:
                    words = one if count == 1 else several
                    found.append(f"{count:,} {words.format(record=record)}")
        return found


def find_causes(store: Store, first_month: str, last_month: str, load_id: int) -> Causes:
    """Compare the records of some months as they stood after `load_id` with those of now."""
    found: dict[tuple[str, str, str], int] = {}
    for name in TABLES:
        params = {"first": first_month, "last": last_month, "load": load_id}
        for cause, site, rows in store.rows(_sql(name), params):
            found[name, cause, site] = rows
    return Causes(found)


def _sql(name: str) -> str:
    record = RECORDS[name]
    columns = ", ".join(record.columns)
    others = [column for column in record.columns if column != record.key]
    same = " and ".join(f"b.{c} is not distinct from n.{c}" for c in others)
    kept = " and ".join(f"(b.{c} is null or b.{c} is not distinct from n.{c})" for c in others)
    return f"""
        with placed as (
            select episode_id, site, placed_month from episode
            union all select episode_id, site, placed_month from episode_version
        ),
        chosen as (
            select episode_id, min(site) as site from placed
            where placed_month between $first and $last group by episode_id
        ),
        versions as (
            select {columns}, load_id from {name} where load_id <= $load
            union all
            select {columns}, load_id from {name}_version
            where load_id <= $load and replaced_by > $load
        ),
        before as (
            select {columns} from versions semi join chosen using (episode_id)
            qualify row_number() over (partition by {record.key} order by load_id desc) = 1
        ),
        now as (select {columns} from {name} semi join chosen using (episode_id)),
        compared as (
            select coalesce(b.episode_id, n.episode_id) as episode_id,
                case
                    when b.{record.key} is null then 'new'
                    when n.{record.key} is null then 'taken_back'
                    when {same} then 'same'
                    when {kept} or {_matured(name)} then 'matured'
                    else 'corrected'
                end as cause
            from before b full join now n on b.{record.key} = n.{record.key}
        )
        select cause, site, count(*) from compared join chosen using (episode_id)
        where cause <> 'same' group by all"""


def _matured(name: str) -> str:
    """Return SQL for an episode whose catheter was in place before, as far as was known."""
    if name != "episode":
        return "false"
    return (
        "(coalesce(b.removed_h, b.removed_before_h) is null"
        " and coalesce(n.removed_h, n.removed_before_h) is not null)"
    )
