"""What the store holds, where it came from and what was set aside, as frames."""

from typing import TYPE_CHECKING

from pipeline.records.layout import RECORDS
from pipeline.store.session import Store

if TYPE_CHECKING:
    import polars as pl

# A value and a few words on it, for each kind of name that a store holds.
_NAMED = {
    "site": "select site, label from site order by site",
    "quarter": "select placed_quarter, count(*)::varchar || ' catheters' from episode_dwell"
    " group by placed_quarter order by placed_quarter desc",
    "change": "select change_id, title from change order by started_month, change_id",
    "load": "select load_id::varchar, 'as of ' || as_of from load"
    " where kind = 'load' and undone_by is null order by load_id desc",
}


def names_held(store: Store, kind: str) -> list[tuple[str, str]]:
    """Return the names of one kind in the store, each with a few words on it.

    Parameters
    ----------
    kind : {"site", "quarter", "change", "load"}
        Quarters and loads come with the latest first; loads taken back are left out.
    """
    return [(name, words) for name, words in store.rows(_NAMED[kind])]


def records(store: Store) -> "pl.DataFrame":
    """Return a row a record: `record`, `rows`, `first_month`, `last_month`.

    The months are those of placement, and null for the other records.
    """
    parts = [
        f"select {i} as position, '{name}' as record, count(*) as rows,"
        f" {_months(name, 'min')} as first_month, {_months(name, 'max')} as last_month from {name}"
        for i, name in enumerate(RECORDS)
    ]
    return store.frame(
        "select record, rows, first_month, last_month from"
        f" ({' union all '.join(parts)}) order by position"
    )


def _months(record: str, function: str) -> str:
    return f"{function}(placed_month)" if record == "episode" else "null::varchar"


def counts_origin(store: Store) -> "pl.DataFrame":
    """Return a row on where the counts of a store of counts come from."""
    return store.frame(f"select *, date '{store.as_of()}' as as_of from gathered")


def loads(store: Store) -> "pl.DataFrame":
    """Return a row a load and file, the rows that came in and what became of them.

    Columns: `load_id`, `kind`, `loaded_at`, `as_of`, `mapping`, `undoes`, `undone_by`,
    `file`, `rows_in`, `new`, `corrected`, `unchanged`, `set_aside`, `balances`.
    """
    return store.frame(
        "select load_id, kind, loaded_at, as_of, mapping_name as mapping, undoes, undone_by,"
        " file_name as file, rows_in, rows_new as new, rows_corrected as corrected,"
        " rows_unchanged as unchanged, rows_set_aside as set_aside,"
        " rows_in = rows_new + rows_corrected + rows_unchanged + rows_set_aside as balances"
        " from load left join load_file using (load_id) order by load_id, file_id"
    )


def set_aside(store: Store) -> "pl.DataFrame":
    """Return a row a reason for which rows are set aside now.

    Columns: `record`, `file`, `column`, `rule`, `questioned`, `rows`, `first_row`.
    """
    return store.frame(
        "select s.record, f.file_name as file, s.column_name as column, s.rule, s.questioned,"
        " count(*) as rows, min(s.source_row) as first_row"
        " from set_aside s join load_file f using (file_id) where s.cleared_by is null"
        " group by all order by s.record, rows desc, s.rule, file"
    )


def rows_by_file(store: Store) -> list[tuple[str, int, int, int, int]]:
    """Return record, rows read, loaded, unchanged and set aside, over all loads that stand."""
    rows = store.rows(
        "select record, sum(rows_in), sum(rows_new + rows_corrected), sum(rows_unchanged),"
        " sum(rows_set_aside) from load_file inner join load using (load_id)"
        " where kind = 'load' and undone_by is null group by record order by record"
    )
    return [(record, int(a), int(b), int(c), int(d)) for record, a, b, c, d in rows]
