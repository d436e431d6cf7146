"""Measures' control charts, of the network and of each site, against the bare counts.

The floor reads the counts by month and site from the store and draws nothing. The
charts take the same counts and add phases, limits, the choice of chart, the evidence of
both sides and signals. What one chart can see (false signals, delays) is timed by itself.
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
MEASURES = 21
"""As many of the catalogue are timed, and then all of it."""
MOST_SECONDS, MOST_SIGHT = 5.0, 1.0

RUN = """
import sys, time
from pipeline.analysis.charts.sight import sight
from pipeline.answers.chart_series import read_series
from pipeline.answers.drawn_charts import draw_charts
from pipeline.measures.catalogue import load_catalogue
from pipeline.store import open_store

measures = list(load_catalogue().values())[: int(sys.argv[2]) or None]
start = time.perf_counter()
with open_store(sys.argv[1]) as store:
    parts = read_series(store, measures, by="site", with_total=True)
read = time.perf_counter()
charts = draw_charts(parts)
drawn = time.perf_counter()
sample = charts[:: max(1, len(charts) // 20)]
for chart in sample:
    sight(chart.cusum)
seen = time.perf_counter()
signals = sum(len(chart.signals) for chart in charts)
print(len(measures), len(charts), signals,
      read - start, drawn - read, (seen - drawn) / len(sample))
"""


def main(episodes: int | None) -> None:
    """Print seconds and the ratio to the floor."""
    episodes = episodes or EPISODES
    with tempfile.TemporaryDirectory() as place:
        records, path = Path(place) / "records", Path(place) / "dwell.duckdb"
        write_folder(records, episodes=episodes, format="parquet", sites=SITES, months=MONTHS)
        load_files(path, find_sources(records))
        print(f"{episodes:,} episodes, {SITES} sites, {MONTHS} months")
        for number in (MEASURES, 0):
            _report(path, number)


def _report(path: Path, number: int) -> None:
    """Time the charts of the first `number` measures; of all where it is zero."""
    done = subprocess.run(
        [sys.executable, "-c", RUN, str(path), str(number)],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    measures, charts, signals, *seconds = done.stdout.split()
    floor, drawn, seen = (float(value) for value in seconds)
    asked = f" (asked for: under {MOST_SECONDS:.0f})" if number else ""
    print(f"{measures} measures: {charts} charts, {signals} signals")
    print(f"  counts from the store     {floor:6.2f} s (floor)")
    print(f"  charts with their signals {drawn:6.2f} s; {drawn / floor:.2f} times the floor")
    print(f"  together                  {floor + drawn:6.2f} s{asked}")
    print(
        f"  what one chart can see    {seen:6.2f} s on average of 20 charts"
        f" (asked for: under {MOST_SIGHT:.0f})"
    )
