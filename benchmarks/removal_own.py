"""The pipeline's own side of the removal benchmark, in a process of its own.

Run as `python -m benchmarks.removal_own WHAT STORE`; prints one line of JSON.
"""

import json
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import polars as pl

from benchmarks.removal_store import REASONS
from pipeline.analysis.survival.cox import cox
from pipeline.analysis.survival.event_counts import from_frame
from pipeline.analysis.survival.fine_gray import fine_gray
from pipeline.analysis.survival.incidence import incidence
from pipeline.analysis.survival.removal_model import model_data
from pipeline.analysis.survival.terms import code_terms
from pipeline.measures.dwell_counts import model_rows, removal_rows
from pipeline.store import Store, open_store

ROUNDS = 5
MODEL_ROUNDS = 3
HOURS = (24.0, 48.0, 72.0)
TERMS = ("age_years", "limb", "skin_glue", "tunnelled", "interpreter_needed", "site")
# The store's own pass: the same grouping over the bare table, without the view.
PASS = (
    "select coalesce(removed_h, last_known_in_place_h) as hours, removal_reason, count(*)"
    " from episode group by all"
)


def timed(rounds: int, work: Callable[[], Any]) -> tuple[float, Any]:
    """Return the least seconds of some rounds, and the last result."""
    least, result = float("inf"), None
    for _ in range(rounds):
        start = time.perf_counter()
        result = work()
        least = min(least, time.perf_counter() - start)
    return least, result


def incidences(store: Store) -> dict[str, Any]:
    """Incidence of six reasons with errors, from the store: in all and by site."""
    floor, _ = timed(ROUNDS, lambda: store.frame(PASS))
    whole, results = timed(ROUNDS, lambda: _incidences(store, None))
    by_site, _ = timed(ROUNDS, lambda: _incidences(store, "site"))
    counts = from_frame(removal_rows(store), REASONS)
    alone, _ = timed(ROUNDS, lambda: [incidence(part) for part in counts])
    at = results[0].at(HOURS)
    return {
        "pass": floor,
        "whole": whole,
        "by_site": by_site,
        "estimator": alone,
        "incidence": at.incidence.tolist(),
        "se": at.se.tolist(),
    }


def _incidences(store: Store, by: str | None) -> list[Any]:
    return [incidence(part) for part in from_frame(removal_rows(store, by), REASONS)]


def model(store: Store, fit: Callable[..., Any]) -> dict[str, Any]:
    """Reduce in the store and fit on 17 columns, each timed."""
    reduce, rows = timed(MODEL_ROUNDS, lambda: model_rows(store, TERMS))
    patterns = rows.group_by(TERMS).agg(pl.col("n").sum()).sort(TERMS)
    codings = code_terms(patterns, TERMS)
    build, data = timed(MODEL_ROUNDS, lambda: model_data(rows, patterns, codings, "dislodged"))
    seconds, found = timed(MODEL_ROUNDS, lambda: fit(data))
    return {
        "reduce": reduce,
        "build": build,
        "fit": seconds,
        "labels": [column.level or column.term for column in found.columns],
        "terms": [column.term for column in found.columns],
        "coefficients": found.coefficients.tolist(),
        "se": found.se.tolist(),
    }


def main() -> None:
    """Measure what was asked for and print it."""
    what, path = sys.argv[1], Path(sys.argv[2])
    with open_store(path) as store:
        if what == "incidence":
            found = incidences(store)
        else:
            found = model(store, cox if what == "cox" else fine_gray)
    print(json.dumps(found))


if __name__ == "__main__":
    main()
