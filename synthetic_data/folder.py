"""A folder of invented records, as a site would deliver it."""

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import polars as pl

from pipeline.records.layout import RECORDS
from synthetic_data.deliveries import split_late
from synthetic_data.faults import append_faults
from synthetic_data.generate import CHUNK, Batch, batches
from synthetic_data.scenario import Scenario, load_scenario
from synthetic_data.site_exports import SITES, split_off, write_export
from synthetic_data.writer import FolderWriter

DEFAULT_SEED = 7

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Written:
    """What was written: the folder, and its rows by record."""

    folder: Path
    rows: dict[str, int]


def write_folder(
    folder: Path | str,
    *,
    episodes: int | None = None,
    seed: int = DEFAULT_SEED,
    format: str = "csv",  # noqa: A002 - the word that users type
    sites: int | None = None,
    months: int | None = None,
    chunk: int = CHUNK,
    late: bool = False,
    with_faults: bool = False,
    site_exports: bool = False,
    progress: Progress | None = None,
) -> Written:
    """Write a folder of invented records in the canonical layout.

    The same arguments give the same files, byte for byte.

    Parameters
    ----------
    folder : Path or str
        Where the files go; made where it does not exist.
    episodes : int, optional
        Number of episodes; the scenario's own where left out.
    seed : int
        Seed of all draws.
    format : {"csv", "parquet"}
        How the files are written.
    sites, months : int, optional
        Size of the network; the scenario's own where left out.
    chunk : int
        Episodes made at once, which bounds the memory.
    late : bool
        Hold back what arrives late, or is known only later, for a second delivery in
        ``folder/late``. Otherwise the folder is complete.
    with_faults : bool
        Add a few rows that break a rule each (CSV only), to show how they are set aside.
    site_exports : bool
        Write the records of two sites in those sites' own layouts instead, in
        ``folder/godwit`` and ``folder/sandpiper``, each with the mapping that reads it.
        These are held in memory until the end.
    progress : callable, optional
        Called with the episodes written so far and those in all.

    Returns
    -------
    Written
        The folder and the rows in its files; those of folders within it are not counted.

    Raises
    ------
    ValueError
        If a number is below one, the format is unknown, or faults are asked of Parquet.
    """
    if with_faults and format != "csv":
        raise ValueError("faulty rows can be written as CSV only")
    folder, scenario = Path(folder), load_scenario(sites=sites, months=months)
    total = scenario.episodes if episodes is None else episodes
    rows = dict.fromkeys(RECORDS, 0)
    exports: dict[str, list[Batch]] = {site: [] for site in (SITES if site_exports else ())}
    with ExitStack() as stack:
        first = stack.enter_context(FolderWriter(folder, format))
        second = stack.enter_context(FolderWriter(folder / "late", format)) if late else None
        _append(first, programme_frames(scenario), rows)
        made = batches(scenario, episodes=total, seed=seed, chunk=chunk)
        for number, batch in enumerate(made, start=1):
            now = _keep_for_exports(batch, exports)
            if second is not None:
                now, later = split_late(scenario, now, seed=[seed, number])
                _append(second, later, {})
            _append(first, now, rows)
            if progress is not None:
                progress(min(number * chunk, total), total)
    _write_exports(folder, exports, seed=seed)
    if with_faults:
        for name, count in append_faults(folder, seed=seed, after=total).items():
            rows[name] += count
    return Written(folder, rows)


def _keep_for_exports(batch: Batch, exports: dict[str, list[Batch]]) -> Batch:
    for site, parts in exports.items():
        batch, own = split_off(batch, site)
        parts.append(own)
    return batch


def _write_exports(folder: Path, exports: dict[str, list[Batch]], *, seed: int) -> None:
    for site, parts in exports.items():
        own = {name: pl.concat([part[name] for part in parts]) for name in parts[0]}
        if not own["episode"].is_empty():
            write_export(folder / site, site, own, seed=seed)


def programme_frames(scenario: Scenario) -> dict[str, pl.DataFrame]:
    """Return the site table, the improvement log and the actions in the layout."""
    sites = [
        {"site": site.code, "label": site.label, "opened_month": site.opened_month}
        for site in scenario.sites
    ]
    changes = [
        {
            "change_id": change.change_id,
            "started_month": change.started_month,
            "sites": ";".join(change.sites),
            "title": change.title,
            "measures": ";".join(change.measures),
            "new_phase": change.new_phase,
            "kind": change.kind,
            "reason": change.reason,
        }
        for change in scenario.changes
    ]
    frames = {
        "site": pl.DataFrame(sites),
        "change": pl.DataFrame(changes),
        "action": pl.DataFrame(scenario.actions),
    }
    return {
        name: frame.select(RECORDS[name].columns)
        for name, frame in frames.items()
        if not frame.is_empty()
    }


def _append(writer: FolderWriter, batch: Batch, rows: dict[str, int]) -> None:
    for name, frame in batch.items():
        writer.append(name, frame)
        rows[name] = rows.get(name, 0) + frame.height
