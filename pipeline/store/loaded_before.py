"""Files that were loaded before: nothing in them is new, but rows set aside may now fit."""

from dataclasses import dataclass, replace

import duckdb

from pipeline.records.sources import SourceFile
from pipeline.store.one_row import count_of, first_row
from pipeline.store.staging import Staged
from pipeline.store.writing import FileCounts

Connection = duckdb.DuckDBPyConnection


@dataclass(frozen=True)
class EarlierLoad:
    """An earlier load of the same bytes under the same mapping, that still stands.

    Attributes
    ----------
    set_aside : int
        Rows of it that are still set aside.
    changed_since : bool
        Something was loaded since, so that those rows may fit now.
    undone_since : bool
        Something was taken back since, so that rows of it may be missing now.
    """

    rows_in: int
    set_aside: int
    changed_since: bool
    undone_since: bool

    @property
    def try_again(self) -> bool:
        """Whether the file has to be read again."""
        return self.undone_since or (self.changed_since and self.set_aside > 0)

    def add_to(self, counts: FileCounts, *, read: bool) -> FileCounts:
        """Count the rows that were not judged again as unchanged, or still set aside."""
        still = 0 if read else self.set_aside
        return replace(
            counts,
            rows_in=self.rows_in,
            unchanged=counts.unchanged + self.rows_in - still - counts.rows_in,
            set_aside=counts.set_aside + still,
        )


def find_earlier_load(connection: Connection, source: SourceFile) -> EarlierLoad | None:
    """Return the latest load of this file that was not taken back, or None."""
    found = first_row(
        connection,
        "select f.load_id, f.rows_in from load_file f join load l using (load_id)"
        " where f.sha256 = ? and f.record = ? and l.mapping_hash is not distinct from ?"
        " and l.kind = 'load' and l.undone_by is null order by f.file_id desc limit 1",
        [source.sha256, source.record, source.mapping_digest],
    )
    if found is None:
        return None
    load_id, rows_in = found
    open_rows = count_of(
        connection,
        f"select count(*) from ({open_rows_of(source)})",
        {"sha256": source.sha256},
    )
    since = "select count(*) from load where load_id > ?"
    return EarlierLoad(
        rows_in,
        open_rows,
        count_of(connection, since, [load_id]) > 0,
        count_of(connection, f"{since} and kind = 'undo'", [load_id]) > 0,
    )


def open_rows_of(source: SourceFile) -> str:
    """Return SQL, with the file's hash as its parameter, for its rows still set aside."""
    return (
        "select distinct s.source_row from set_aside s join load_file f using (file_id)"
        f" where s.cleared_by is null and s.record = '{source.record}' and f.sha256 = $sha256"
    )


def keep_undecided(connection: Connection, staged: Staged, known: EarlierLoad) -> Staged:
    """Leave out the staged rows that are stored or were corrected since: they are unchanged."""
    if known.undone_since:
        decided = f"row in ({_stored_rows_of(staged)})"
    else:
        decided = f"row not in ({open_rows_of(staged.source)})"
    table = f"{staged.table}_undecided"
    connection.execute(
        f"create or replace temp table {table} as"
        f" from {staged.table} where ({decided}) is distinct from true",
        {"sha256": staged.source.sha256},
    )
    rows = count_of(connection, f"select count(*) from {table}")
    return replace(staged, table=table, rows=rows)


def _stored_rows_of(staged: Staged) -> str:
    """Return SQL for the rows of this file that stand, or that a later file corrected."""
    name = staged.record.name
    return (
        f"select source_row from (select file_id, source_row from {name} union all"
        f" select v.file_id, v.source_row from {name}_version v join load l using (load_id)"
        " where l.undone_by is null union all select file_id, source_row from set_aside"
        f" where record = '{name}' and cleared_by is not null)"
        " join load_file f using (file_id) where f.sha256 = $sha256"
    )
