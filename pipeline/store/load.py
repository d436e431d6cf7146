"""Load files into the store: stage, judge, write, in one transaction."""

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import duckdb

from pipeline.errors import InputError
from pipeline.records.layout import RECORDS
from pipeline.records.sources import Source
from pipeline.store.connection import plain_errors
from pipeline.store.judging import judge
from pipeline.store.session import open_store
from pipeline.store.staging import Staged, stage
from pipeline.store.writing import FileCounts, Origin, clear, write

Connection = duckdb.DuckDBPyConnection
Progress = Callable[[str, int], None]  # what is being done, and bytes of input done with
READ_SHARE = 0.6  # of the time a file takes


@dataclass(frozen=True)
class Fault:
    """Rows of one file that were set aside for one reason."""

    file_name: str
    column: str | None
    rule: str
    rows: int
    first_row: int


@dataclass(frozen=True)
class LoadResult:
    """What a load did. `load_id` is None where there was nothing new."""

    load_id: int | None
    files: tuple[FileCounts, ...]
    faults: tuple[Fault, ...]
    cleared: int


def load(
    path: Path,
    sources: Sequence[Source],
    *,
    as_of: dt.date,
    progress: Progress = lambda _what, _size: None,
) -> LoadResult:
    """Load `sources` into the store at `path`, all or nothing.

    Parameters
    ----------
    path : Path
        The store; made where there is none.
    sources : sequence of Source
        In any order; each record is loaded after those it refers to.
    as_of : date
        When the records were extracted.
    progress : callable
        Told what is being done and how many bytes of the files are done with.

    Raises
    ------
    InputError
        A file cannot be read or does not follow the layout.
    StoreError
        The store cannot be written.
    """
    was_there = path.exists()
    try:
        return _load(path, sources, as_of, progress)
    except BaseException:
        if not was_there:
            _remove(path)
        raise


def _remove(path: Path) -> None:
    for name in (path, path.with_name(path.name + ".wal")):
        name.unlink(missing_ok=True)


def _load(path: Path, sources: Sequence[Source], as_of: dt.date, progress: Progress) -> LoadResult:
    order = list(RECORDS)
    ordered = sorted(sources, key=lambda source: order.index(source.record))
    with open_store(path, read_only=False) as store, plain_errors(path):
        connection = store.connection
        _need_episodes(connection, ordered)
        staged = []
        for number, source in enumerate(ordered):
            progress(f"reading {source.path.name}", 0)
            staged.append(stage(connection, source, number, as_of.isoformat()[:7]))
            progress("", int(source.size * READ_SHARE))
        connection.begin()
        result = _write_all(connection, staged, as_of, progress)
        if result.load_id is None:
            connection.rollback()
        else:
            connection.commit()
        return result


def _need_episodes(connection: Connection, sources: Sequence[Source]) -> None:
    if any(source.record == "episode" for source in sources):
        return
    if not connection.execute("select 1 from episode limit 1").fetchone():
        raise InputError(
            "There is no episode file, and the store holds no episodes yet.",
            try_next="a folder with episode.csv or episode.parquet",
        )


def _write_all(
    connection: Connection, staged: Sequence[Staged], as_of: dt.date, progress: Progress
) -> LoadResult:
    load_id = _next(connection, "load", "load_id")
    connection.execute(
        "insert into load (load_id, kind, loaded_at, as_of) values (?, 'load', ?, ?)",
        [load_id, dt.datetime.now(dt.UTC).replace(tzinfo=None), as_of],
    )
    counts = []
    for item in staged:
        progress(f"writing {item.source.path.name}", 0)
        counts.append(_write_one(connection, item, load_id))
        progress("", item.source.size - int(item.source.size * READ_SHARE))
    return LoadResult(
        load_id, tuple(counts), _faults(connection, load_id), _cleared(connection, load_id)
    )


def _write_one(connection: Connection, staged: Staged, load_id: int) -> FileCounts:
    file_id = _next(connection, "load_file", "file_id")
    if staged.record.name == "episode":
        _name_sites(connection, staged, load_id)
    faults = judge(connection, staged, load_id)
    clear(connection, staged, faults, load_id)
    counts = write(connection, staged, faults, Origin(load_id, file_id))
    if not counts.balances():
        raise AssertionError(f"rows of {counts.file_name} do not add up")
    source = staged.source
    connection.execute(
        "insert into load_file values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [file_id, load_id, counts.record, counts.file_name, source.sha256, source.size,
         counts.rows_in, counts.new, counts.corrected, counts.unchanged, counts.set_aside],
    )  # fmt: skip
    return counts


def _name_sites(connection: Connection, staged: Staged, load_id: int) -> None:
    """Without a site table from a file, label the sites of the episodes by their code."""
    if connection.execute("select 1 from site where file_id is not null limit 1").fetchone():
        return
    connection.execute(
        "insert into site select distinct s.site, s.site, null, ?, null::integer, null::bigint"
        f" from {staged.table} s anti join site o on o.site = s.site"
        " where s.site is not null and s.check_no is null order by s.site",
        [load_id],
    )


def _next(connection: Connection, table: str, column: str) -> int:
    row = connection.execute(f"select coalesce(max({column}), 0) + 1 from {table}").fetchone()
    return int(row[0]) if row else 1


def _faults(connection: Connection, load_id: int) -> tuple[Fault, ...]:
    found = connection.execute(
        "select file_name, column_name, rule, count(*), min(source_row)"
        " from set_aside join load_file using (file_id) where set_aside.load_id = ?"
        " group by all order by min(file_id), count(*) desc, rule",
        [load_id],
    ).fetchall()
    return tuple(Fault(*row) for row in found)


def _cleared(connection: Connection, load_id: int) -> int:
    row = connection.execute(
        "select count(*) from set_aside where cleared_by = ?", [load_id]
    ).fetchone()
    return int(row[0]) if row else 0
