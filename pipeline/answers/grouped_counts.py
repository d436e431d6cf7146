"""A measure's counts by some factors, and what all measures tell of how groups differ."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from pipeline.analysis.comparison.compare import known_groups
from pipeline.analysis.comparison.ordinary_groups import spread_likelihood
from pipeline.analysis.comparison.pattern_counts import Cells, Floats, PatternCounts
from pipeline.errors import NoDataError
from pipeline.measures.catalogue import Measure, measures_in_force
from pipeline.measures.patterns import pattern_frames
from pipeline.settings import Settings
from pipeline.store import Store


def no_two_groups() -> NoDataError:
    """Return the error of a comparison of one group alone."""
    return NoDataError("There are no two groups to compare.", try_next="another --by")


def pattern_counts(
    store: Store,
    measures: Sequence[Measure],
    factors: Iterable[str],
    *,
    months: tuple[str, str],
    settings: Settings,
    started_month: str | None = None,
) -> Iterator[tuple[Measure, PatternCounts]]:
    """Yield each measure with its counts by some factors: see `pattern_frames`."""
    names = list(factors)
    frames = pattern_frames(
        store, measures, names, months=months, settings=settings, started_month=started_month
    )
    cells = Cells.from_frame(frames.cells, names)
    for measure, frame in frames.measures:
        yield measure, cells.counts(frame["cell"].to_numpy().astype(np.int64), frame)


def group_spreads(
    store: Store,
    measures: Sequence[Measure],
    by: str,
    *,
    months: tuple[str, str],
    settings: Settings,
) -> dict[str, Floats]:
    """Return by measure the log-likelihood of how much ordinary groups differ.

    One measure of few groups cannot say; so all in force are asked, whichever are compared.
    """
    asked = {m.name: m for m in (*measures_in_force(settings), *measures)}
    counts = pattern_counts(store, list(asked.values()), [by], months=months, settings=settings)
    known = ((measure, known_groups(sums, by)) for measure, sums in counts)
    return {
        measure.name: spread_likelihood(sums, by, measure.denominator_kind)
        for measure, sums in known
        if len(sums.levels[by]) >= 2
    }
