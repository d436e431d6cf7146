"""Stop a file in which something could identify a child, before any of it is stored."""

from collections.abc import Sequence

import duckdb

from pipeline.errors import PrivacyError
from pipeline.records.declaration import Kind
from pipeline.records.plan import literal
from pipeline.records.screens import CELL_SCREENS, KEY_SCREENS, TEXT_SCREENS, any_of, likenesses
from pipeline.store.one_row import count_of
from pipeline.store.staging import Staged

Connection = duckdb.DuckDBPyConnection
Screens = Sequence[tuple[str, tuple[str, ...]]]
SAMPLE = 5000
ADVICE = "dwell pseudonymise FILE, on the site's own machine"


def screen_keys(connection: Connection, staged: Staged) -> None:
    """Screen every opaque key and printed text of a staged file.

    Raises
    ------
    PrivacyError
        A column holds what could identify a child; the message counts its rows.
    """
    for field in staged.record.fields:
        if field.kind in {Kind.TEXT, Kind.LIST}:
            _screen(connection, staged, field.name, staged.table, TEXT_SCREENS)
        elif field.name == staged.record.key or (field.kind is Kind.KEY and not field.refers_to):
            _screen(connection, staged, field.name, staged.table, KEY_SCREENS)
            _screen_likeness(connection, staged, field.name)


def screen_kept(connection: Connection, staged: Staged, sent: str) -> None:
    """Screen every cell of the rows that are about to be set aside; raises as `screen_keys`."""
    names = {field.name: field.kind for field in staged.record.fields}
    for name in staged.binding.kept:
        value = f"json_extract_string(raw, {literal(_path(name))})"
        screens = TEXT_SCREENS if names.get(name) in {Kind.TEXT, Kind.LIST} else CELL_SCREENS
        _screen(connection, staged, name, f"(select {value} as v from {sent})", screens, value="v")


def _path(name: str) -> str:
    escaped = name.replace("\\", "\\\\").replace('"', '\\"')
    return f'$."{escaped}"'


def _screen(
    connection: Connection,
    staged: Staged,
    column: str,
    source: str,
    screens: Screens,
    *,
    value: str | None = None,
) -> None:
    value = value or column
    everything = any_of(pattern for _, patterns in screens for pattern in patterns)
    hits = f"from {source} where regexp_matches({value}, {literal(everything)})"
    if not count_of(connection, f"select count(*) {hits}"):
        return
    for rule, patterns in screens:
        one = f"regexp_matches({value}, {literal(any_of(patterns))})"
        rows = count_of(connection, f"select count(*) {hits} and {one}")
        if rows:
            raise _stop(staged, column, rule, f"{rows:,} rows" if rows > 1 else "1 row")


def _screen_likeness(connection: Connection, staged: Staged, column: str) -> None:
    """Look at a sample of the keys for forms that single keys have by chance."""
    every = max(1, staged.rows // SAMPLE)
    values = connection.execute(
        f"select distinct {column} from {staged.table}"
        f" where {column} is not null and row % {every} = 0"
    ).fetchall()
    for rule, count in likenesses([value for (value,) in values]):
        raise _stop(staged, column, rule, f"{count:,} of {len(values):,} keys looked at")


def _stop(staged: Staged, column: str, rule: str, where: str) -> PrivacyError:
    return PrivacyError(
        f"{staged.source.path.name}: column {column} looks like {rule} in {where};"
        " nothing was stored.",
        try_next=ADVICE,
    )
