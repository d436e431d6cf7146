"""Every version of an episode and of what hangs on it, and the loads they came from."""

from typing import TYPE_CHECKING

from pipeline.records.layout import RECORDS
from pipeline.store.session import Store

if TYPE_CHECKING:
    import polars as pl


def versions_of(store: Store, episode_id: str) -> "pl.DataFrame":
    """Return a row a version and column whose value differs from the version before.

    Columns: `record`, `key`, `load_id`, `loaded_at`, `file`, `row`, `mapping`, `state`
    (current, replaced, taken back), `column`, `before`, `after`; values as text. The first
    version of a record is one row with its `column` null. No rows: no such episode.
    """
    import polars as pl

    frames = []
    for name in ("episode", "contact", "visit"):
        record = RECORDS[name]
        versions = store.rows(_versions(name), {"episode_id": episode_id})
        frames += _changes(name, record.columns, versions)
    return pl.DataFrame(frames, schema=COLUMNS, orient="row")


COLUMNS = ("record", "key", "load_id", "loaded_at", "file", "row", "mapping", "state",
           "column", "before", "after")  # fmt: skip


def _versions(name: str) -> str:
    record = RECORDS[name]
    values = ", ".join(f"v.{column}::varchar" for column in record.columns)
    both = (
        f"select *, null as replaced_by from {name} where episode_id = $episode_id"
        f" union all select * from {name}_version where episode_id = $episode_id"
    )
    return (
        f"select v.{record.key}, v.load_id, l.loaded_at::varchar, f.file_name, v.source_row,"
        " l.mapping_name, case when l.undone_by is not null then 'taken back'"
        " when v.replaced_by is not null then 'replaced' else 'current' end,"
        f" {values} from ({both}) v join load l using (load_id)"
        f" left join load_file f using (file_id) order by v.{record.key}, v.load_id"
    )


def _changes(
    name: str, columns: tuple[str, ...], versions: list[tuple[object, ...]]
) -> list[tuple[object, ...]]:
    """Compare each version with the one before it of the same key."""
    found: list[tuple[object, ...]] = []
    before: tuple[object, ...] | None = None
    for version in versions:
        about, values = (name, *version[:7]), version[7:]
        if before is None or before[0] != version[0]:
            found.append((*about, None, None, None))
        else:
            found += [
                (*about, column, old, new)
                for column, old, new in zip(columns, before[7:], values, strict=True)
                if old != new
            ]
        before = version
    return found
