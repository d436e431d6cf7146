"""All measures by site, adjusted, against a floor: the same measures counted by site.

The floor reads the store once a measure and adds up by site; it fits nothing, and
shrinks nothing. Both run in a process of their own, one after the other.
"""

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from pipeline.records.folder import find_sources
from pipeline.store.load import load_files
from synthetic_data import write_folder

EPISODES = 1_000_000
SITES, MONTHS = 200, 60
MOST_SECONDS = 20.0

OPEN = """
import sys
from pipeline.measures.catalogue import measures_in_force
from pipeline.settings import Settings
from pipeline.store import open_store
measures = measures_in_force()
"""
COMPARE = """
from pipeline.answers.comparison import compare_groups
with open_store(sys.argv[1]) as store:
    found = compare_groups(store, measures, by="site")
assert len(found.results) == len(measures)
"""
FLOOR = """
from pipeline.measures.series import series
with open_store(sys.argv[1]) as store:
    series(store, measures, by=("site",), settings=Settings())
"""


def main(episodes: int | None) -> None:
    """Print seconds, peak memory, and the ratio to the floor."""
    episodes = episodes or EPISODES
    with tempfile.TemporaryDirectory() as place:
        path = _store(Path(place), episodes)
        print(f"{episodes:,} episodes, {SITES} sites, every measure", flush=True)
        floor, _ = _run(OPEN + FLOOR, path)
        seconds, memory = _run(OPEN + COMPARE, path)
        print(f"counted by site      {floor:6.1f} s")
        print(
            f"compared, adjusted   {seconds:6.1f} s (asked for: under {MOST_SECONDS:.0f}),"
            f" {memory:.1f} GiB; {seconds / floor:.2f} times the floor"
        )


def _store(place: Path, episodes: int) -> Path:
    write_folder(place / "records", episodes=episodes, format="parquet", sites=SITES, months=MONTHS)
    path = place / "dwell.duckdb"
    load_files(path, find_sources(place / "records"))
    return path


def _run(code: str, path: Path) -> tuple[float, float]:
    """Return wall time in seconds and peak memory in GiB of one process."""
    start = time.perf_counter()
    # One thread for linear algebra, as the command `dwell` sets it.
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1"}
    process = subprocess.Popen([sys.executable, "-c", code, str(path)], env=environment)
    _, status, usage = os.wait4(process.pid, 0)
    if status:
        raise SystemExit("a run of the benchmark failed")
    process.returncode = 0
    return time.perf_counter() - start, usage.ru_maxrss / 2**20
