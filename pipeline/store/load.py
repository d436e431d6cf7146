"""Load files into the store, all or nothing: stage, judge, write, count."""

import datetime as dt
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import duckdb

from pipeline.errors import InputError
from pipeline.records.layout import RECORDS
from pipeline.records.mapping import Mapping
from pipeline.records.sources import SourceFile
from pipeline.store.checks import CheckFinding, run_checks
from pipeline.store.connection import plain_errors
from pipeline.store.kept_ready import make_ready
from pipeline.store.loaded_before import EarlierLoad, find_earlier_load, keep_undecided
from pipeline.store.one_row import count_of, first_row
from pipeline.store.row_rules import judge_rows
from pipeline.store.screening import screen_keys
from pipeline.store.session import open_store
from pipeline.store.staging import Staged, drop_staged, note_placements, stage
from pipeline.store.writing import FileCounts, Origin, write

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
    """What a load did.

    Attributes
    ----------
    load_id : int, optional
        None where there was nothing new, and the store is unchanged.
    files : tuple of FileCounts
        What became of the rows of each file.
    faults : tuple of Fault
        Why rows were set aside.
    cleared : int
        Rows set aside earlier that came in after all.
    findings : tuple of Finding
        What the checks over the whole store warn of.
    """

    load_id: int | None
    files: tuple[FileCounts, ...]
    faults: tuple[Fault, ...]
    cleared: int
    findings: tuple[CheckFinding, ...] = ()


@dataclass(frozen=True)
class _Terms:
    """What holds for a whole load."""

    as_of: dt.date | None
    mapping: Mapping | None
    titles_confirmed: bool

    @property
    def day(self) -> dt.date:
        """Date of extraction; today unless it was given."""
        return self.as_of or dt.date.today()


def load_files(
    path: Path,
    sources: Sequence[SourceFile],
    *,
    as_of: dt.date | None = None,
    mapping: Mapping | None = None,
    titles_confirmed: bool = False,
    progress: Progress = lambda _what, _size: None,
) -> LoadResult:
    """Load `sources` into the store at `path`, all or nothing.

    Parameters
    ----------
    path : Path
        The store; made where there is none.
    sources : sequence of Source
        In any order; each record is loaded after those it refers to.
    as_of : date, optional
        When the records were extracted; today unless given.
    mapping : Mapping, optional
        The site's mapping that the sources were found with; kept beside the load.
    titles_confirmed : bool
        Somebody has read the titles, labels and site codes: they name nobody.
    progress : callable
        Told what is being done and how many bytes of the files are done with.

    Raises
    ------
    InputError
        A file cannot be read or does not follow the layout.
    StoreError
        The store cannot be written.
    """
    order = list(RECORDS)
    ordered = sorted(sources, key=lambda source: order.index(source.record))
    terms = _Terms(as_of, mapping, titles_confirmed)
    known = _all_known(path, ordered, terms, progress) if path.exists() else None
    return known or _load(path, ordered, terms, progress)


def _all_known(
    path: Path, sources: Sequence[SourceFile], terms: _Terms, progress: Progress
) -> LoadResult | None:
    """Return the result where nothing can be new, found without writing; else None."""
    with open_store(path) as store, plain_errors(path):
        found = [find_earlier_load(store.connection, source) for source in sources]
        same_day = terms.as_of is None or _last_day(store.connection) == terms.as_of
    known = [earlier for earlier in found if earlier is not None and not earlier.try_again]
    if not same_day or not known or len(known) < len(sources):
        return None
    progress("", sum(source.size for source in sources))
    counts = (
        earlier.add_to(FileCounts(source.record, source.path.name), read=False)
        for earlier, source in zip(known, sources, strict=True)
    )
    return LoadResult(None, tuple(counts), (), 0)


def _load(
    path: Path, sources: Sequence[SourceFile], terms: _Terms, progress: Progress
) -> LoadResult:
    with open_store(path, read_only=False) as store, plain_errors(path):
        connection = store.connection
        _need_episodes(connection, sources)
        note_placements(connection, sources)
        inputs = _read_all(connection, sources, terms, progress)
        connection.begin()
        result = _write_all(connection, inputs, terms, progress)
        if result.load_id is None:
            connection.rollback()
            return result
        connection.commit()  # on a copy of the store, which counts once it is complete
        drop_staged(connection)
        progress("counting", 0)
        connection.begin()
        make_ready(connection)
        connection.commit()
        return replace(result, findings=run_checks(store))


def load_programme(
    connection: Connection, sources: Sequence[SourceFile], as_of: dt.date, *, confirmed: bool
) -> None:
    """Load sites, changes and actions beside counts; the caller holds the transaction.

    Raises
    ------
    PrivacyError
        A title, label or code could name somebody, and nobody has `confirmed` it.
    """
    terms = _Terms(as_of, None, confirmed)
    inputs = _read_all(connection, sources, terms, lambda _what, _size: None)
    _write_all(connection, inputs, terms, lambda _what, _size: None)


def _read_all(
    connection: Connection, sources: Sequence[SourceFile], terms: _Terms, progress: Progress
) -> list["_Input"]:
    return [
        _read(connection, source, number, terms, progress) for number, source in enumerate(sources)
    ]


@dataclass(frozen=True)
class _Input:
    """A file to load: what of it is known already, and what is left to judge."""

    source: SourceFile
    known: EarlierLoad | None
    staged: Staged | None


def _read(
    connection: Connection, source: SourceFile, number: int, terms: _Terms, progress: Progress
) -> _Input:
    progress(f"reading {source.path.name}", 0)
    known = find_earlier_load(connection, source)
    staged = None
    if known is None or known.try_again:
        staged = stage(connection, source, number, terms.day.isoformat()[:7])
        screen_keys(connection, staged, titles_confirmed=terms.titles_confirmed)
    if known is not None and staged is not None:
        staged = keep_undecided(connection, staged, known)
    progress("", int(source.size * READ_SHARE))
    return _Input(source, known, staged)


def _need_episodes(connection: Connection, sources: Sequence[SourceFile]) -> None:
    if any(source.record == "episode" for source in sources):
        return
    if not count_of(connection, "select count(*) from episode"):
        raise InputError(
            "There is no episode file, and the store holds no episodes yet.",
            try_next="a folder with episode.csv or episode.parquet",
        )


def _write_all(
    connection: Connection, inputs: Sequence[_Input], terms: _Terms, progress: Progress
) -> LoadResult:
    before = _last_day(connection)
    load_id = _begin(connection, terms)
    counts = []
    for item in inputs:
        progress(f"writing {item.source.path.name}", 0)
        counts.append(_write_one(connection, item, load_id))
        progress("", item.source.size - int(item.source.size * READ_SHARE))
    faults, cleared = _faults(connection, load_id), _cleared(connection, load_id)
    later = terms.as_of is not None and before != terms.as_of
    is_new = bool(later or faults or cleared or any(c.new or c.corrected for c in counts))
    return LoadResult(load_id if is_new else None, tuple(counts), faults, cleared)


def _last_day(connection: Connection) -> dt.date | None:
    """Return the latest date of extraction of the loads that stand."""
    row = first_row(
        connection, "select max(as_of) from load where kind = 'load' and undone_by is null"
    )
    return row[0] if row else None


def _begin(connection: Connection, terms: _Terms) -> int:
    load_id = _next(connection, "load", "load_id")
    now = dt.datetime.now(dt.UTC).replace(tzinfo=None, microsecond=0)
    mapping = terms.mapping
    about = (mapping.name, mapping.digest, mapping.text) if mapping else (None, None, None)
    connection.execute(
        "insert into load values (?, 'load', ?, ?, ?, ?, ?, null, null)",
        [load_id, now, terms.day, *about],
    )
    return load_id


def _write_one(connection: Connection, item: _Input, load_id: int) -> FileCounts:
    file_id = _next(connection, "load_file", "file_id")
    counts = FileCounts(item.source.record, item.source.path.name)
    if item.staged is not None:
        if item.source.record == "episode":
            _name_sites(connection, item.staged, load_id)
        faults = judge_rows(connection, item.staged, load_id)
        counts = write(connection, item.staged, faults, Origin(load_id, file_id))
    if item.known is not None:
        counts = item.known.add_to(counts, read=item.staged is not None)
    if not counts.balances():
        raise AssertionError(f"rows of {counts.file_name} do not add up")
    connection.execute(
        "insert into load_file values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [file_id, load_id, counts.record, counts.file_name, item.source.sha256, item.source.size,
         counts.rows_in, counts.new, counts.corrected, counts.unchanged, counts.set_aside],
    )  # fmt: skip
    return counts


def _name_sites(connection: Connection, staged: Staged, load_id: int) -> None:
    """Without a site table from a file, label the sites of the episodes by their code."""
    if count_of(connection, "select count(*) from site where file_id is not null"):
        return
    connection.execute(
        "insert into site select distinct s.site, s.site, null, ?, null::integer, null::bigint"
        f" from {staged.table} s anti join site o on o.site = s.site"
        " where s.site is not null and s.check_no is null order by s.site",
        [load_id],
    )


def _next(connection: Connection, table: str, column: str) -> int:
    return count_of(connection, f"select coalesce(max({column}), 0) + 1 from {table}")


def _faults(connection: Connection, load_id: int) -> tuple[Fault, ...]:
    found = connection.execute(
        "select file_name, column_name, rule, count(*), min(source_row)"
        " from set_aside join load_file using (file_id) where set_aside.load_id = ?"
        " group by all order by min(file_id), count(*) desc, rule",
        [load_id],
    ).fetchall()
    return tuple(Fault(*row) for row in found)


def _cleared(connection: Connection, load_id: int) -> int:
    return count_of(connection, "select count(*) from set_aside where cleared_by = ?", [load_id])
