"""Loading against a floor: DuckDB's bare typed read of the same files into tables on disk.

The floor casts and stores; it checks no key, code, range or reference, screens nothing,
keeps no origin of a row and cannot say what is wrong. Both run in a process of their own,
one after the other, so that the peak of memory is theirs alone.
"""

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from pipeline.records.declaration import SQL_TYPE
from pipeline.records.layout import RECORDS
from synthetic_data import write_folder

EPISODES = 1_000_000
MOST_TIMES_FLOOR = 4.0
MOST_MEMORY_GIB = 6.0
MOST_UNCHANGED = 0.10

LOAD = """
import sys
from pathlib import Path
from pipeline.records.folder import find_sources
from pipeline.store.load import load_files
load_files(Path(sys.argv[2]), find_sources(Path(sys.argv[1])))
"""

FLOOR = """
import sys
import duckdb
connection = duckdb.connect(sys.argv[2])
for statement in sys.argv[3:]:
    connection.execute(statement)
connection.close()
"""


@dataclass(frozen=True)
class Run:
    """Wall time in seconds and peak memory in GiB of one process."""

    seconds: float
    memory_gib: float


def _run(code: str, *arguments: str) -> Run:
    start = time.perf_counter()
    process = subprocess.Popen([sys.executable, "-c", code, *arguments])
    _, status, usage = os.wait4(process.pid, 0)
    if status:
        raise SystemExit("a run of the benchmark failed")
    process.returncode = 0
    return Run(time.perf_counter() - start, usage.ru_maxrss / 2**20)


def _floor_statements(folder: Path, suffix: str) -> list[str]:
    statements = ["set enable_progress_bar = false"]
    for record in RECORDS.values():
        path = folder / f"{record.name}.{suffix}"
        if not path.exists():
            continue
        types = ", ".join(f"'{f.name}': '{SQL_TYPE[f.kind]}'" for f in record.fields)
        source = (
            f"read_csv('{path}', header = true, auto_detect = false, delim = ',', quote = '\"',"
            f" columns = {{{types}}})"
            if suffix == "csv"
            else f"read_parquet('{path}')"
        )
        statements.append(f"create table {record.name} as from {source}")
    return statements


def _compare(folder: Path, suffix: str, work: Path) -> None:
    floor = _run(FLOOR, str(folder), str(work / "floor"), *_floor_statements(folder, suffix))
    first = _run(LOAD, str(folder), str(work / "store"))
    again = _run(LOAD, str(folder), str(work / "store"))
    size = sum(path.stat().st_size for path in folder.iterdir()) / 2**20
    print(
        f"  {suffix}: {size:,.0f} MiB; bare read {floor.seconds:.1f} s; load {first.seconds:.1f} s"
        f" = {first.seconds / floor.seconds:.2f} times (at most {MOST_TIMES_FLOOR:g});"
        f" peak {first.memory_gib:.2f} GiB (at most {MOST_MEMORY_GIB:g});"
        f" unchanged again {again.seconds:.2f} s"
        f" = {100 * again.seconds / first.seconds:.1f}% (at most {100 * MOST_UNCHANGED:.0f}%)",
        flush=True,
    )
    for name in ("floor", "store"):
        (work / name).unlink()


def main(episodes: int | None) -> None:
    """Compare for CSV and for Parquet."""
    count = episodes or EPISODES
    with tempfile.TemporaryDirectory() as place:
        work = Path(place)
        for suffix in ("csv", "parquet"):
            folder = work / suffix
            rows = write_folder(folder, episodes=count, format=suffix).rows
            print(f"  {rows['episode']:,} episodes, {rows['contact']:,} contacts", flush=True)
            _compare(folder, suffix, work)
