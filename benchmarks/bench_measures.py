"""All measures by month and site, against a floor: one pass over the same records.

The floor joins every contact to its episode and counts a few columns by month and
site, without a rule, a tier or a known-or-not; it is what reading the records costs.
Both run in a process of their own, one after the other; "again" is a second count in
the same session, as the sections of a report make it.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

from pipeline.records.folder import find_sources
from pipeline.store.load import load_files
from synthetic_data import write_folder

EPISODES = 1_000_000
SITES, MONTHS = 200, 60

TIMED = """
import sys, time
from pipeline.store import open_store
def timed(what):
    start = time.perf_counter()
    what()
    print(time.perf_counter() - start)
"""
FLOOR = """
with open_store(sys.argv[1]) as store:
    timed(lambda: store.rows('''
        select site, placed_month, count(*), count(leakage), count(pain_score),
            count(tinnitus), sum(opioid_doses), count(removed_h)
        from contact inner join episode using (episode_id)
        group by site, placed_month
    '''))
"""
MEASURES = """
from pipeline.measures.catalogue import load_catalogue
from pipeline.measures.series import series
names = list(load_catalogue())
with open_store(sys.argv[1]) as store:
    for _ in range(2):
        timed(lambda: series(store, names, by=("month", "site"), with_total=True))
"""


def main(episodes: int | None) -> None:
    """Print seconds, and the ratio to the floor."""
    episodes = episodes or EPISODES
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "dwell.duckdb"
        records = Path(place) / "records"
        write_folder(records, episodes=episodes, format="parquet", sites=SITES, months=MONTHS)
        load_files(path, find_sources(records))
        measure(path, episodes)


def measure(path: Path, episodes: int) -> None:
    """Time the floor and the measures on a store."""
    (floor,) = _run(TIMED + FLOOR, path)
    first, again = _run(TIMED + MEASURES, path)
    print(f"{episodes:,} episodes, {SITES} sites and all of them, {MONTHS} months, 21 measures")
    print(f"floor, one pass      {floor:6.2f} s")
    print(f"first in a session   {first:6.2f} s, {first / floor:.1f} times the floor")
    print(f"again                {again:6.2f} s, {again / floor:.1f} times the floor")


def _run(code: str, path: Path) -> list[float]:
    done = subprocess.run(
        [sys.executable, "-c", code, str(path)], capture_output=True, text=True, check=True
    )
    return [float(line) for line in done.stdout.split()]
