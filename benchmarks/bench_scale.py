"""What one machine bears: each step at a size, with seconds, peak memory and disk.

At the usual size (and where `DWELL_TEST_SPARK` is set, with Spark) counts are gathered from the
same files as well, and the stores of counts compared, row by row.
"""

import os
import subprocess
import sys
import tempfile
import time
from importlib.util import find_spec
from pathlib import Path

import duckdb

EPISODES = 1_000_000
DWELL = "from pipeline.cli.main import main; main()"
SPARK = "DWELL_TEST_SPARK"


def _step(name: str, *words: str) -> float:
    start = time.perf_counter()
    with subprocess.Popen([sys.executable, *words], stdout=subprocess.DEVNULL) as process:
        _, status, usage = os.wait4(process.pid, 0)
        process.returncode = status
    seconds = time.perf_counter() - start
    peak = f"{usage.ru_maxrss / 2**20:5.1f} GiB" if not status else "failed"
    print(f"  {name:14} {seconds:8.1f} s  {peak}", flush=True)
    return seconds


def _size(place: Path) -> str:
    files = [place] if place.is_file() else [p for p in place.rglob("*") if p.is_file()]
    return f"{sum(path.stat().st_size for path in files) / 2**20:,.0f} MiB"


def differences(one: Path, other: Path) -> dict[str, int]:
    """Count by table the rows that only one of two stores of counts has."""
    with duckdb.connect() as connection:
        for name, path in (("one", one), ("other", other)):
            connection.execute(f"attach '{path}' as {name} (read_only)")
        tables = connection.execute(
            "select table_name from duckdb_tables() where database_name = 'one' and"
            " (table_name like 'gathered_%' or table_name = 'ready_measure_count')"
        ).fetchall()
        return {
            table: len(
                connection.execute(
                    f"(from one.{table} except all from other.{table})"
                    f" union all (from other.{table} except all from one.{table})"
                ).fetchall()
            )
            for (table,) in tables
        }


def main(episodes: int | None) -> None:
    """Print the steps of one size, and the engines side by side."""
    size = episodes or EPISODES
    with tempfile.TemporaryDirectory(dir=os.environ.get("TMPDIR")) as folder:
        records, store = Path(folder) / "records", Path(folder) / "dwell.duckdb"
        words = ("--episodes", str(size), "--format", "parquet")
        print(f"{size:,} episodes")
        _step("generate", "-m", "synthetic_data", str(records), *words)
        for name in ("load", "signals", "compare", "report"):
            of = [str(records)] if name == "load" else []
            out = ["--out", str(Path(folder) / "out")] if name == "report" else []
            _step(name, "-c", DWELL, name, *of, *out, "--db", str(store))
        print(f"  records {_size(records)}, store {_size(store)}")
        engines = ["duckdb"]
        if os.environ.get(SPARK) and find_spec("pyspark"):
            engines.append("spark")
        counts = {engine: Path(folder) / f"{engine}.duckdb" for engine in engines}
        seconds = [
            _step(f"gather, {engine}", "-c", DWELL, "gather", "--engine", engine, "--as-of",
                  "2026-01-15", "--records", str(records), "--out", str(out), "-q")
            for engine, out in counts.items()
        ]  # fmt: skip
        if len(seconds) > 1:
            found = differences(counts["duckdb"], counts["spark"])
            print(f"  Spark takes {seconds[1] / seconds[0]:.1f} times as long as DuckDB;"
                  f" rows that differ: {sum(found.values())} in {len(found)} tables")  # fmt: skip
