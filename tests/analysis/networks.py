"""Invented networks of sites, reduced to counts as the store would reduce them."""

import numpy as np
import polars as pl

from pipeline.analysis.comparison.ordinary_groups import SPREADS, spread_prior
from pipeline.analysis.comparison.pattern_counts import Cells

SITES = ("avocet", "curlew", "dunlin", "godwit", "knot", "plover", "redshank", "ruff")
AGES = ("00-02", "03-05", "06-11", "12-17")
# Five other measures, each telling that the groups hardly differ.
ALIKE = spread_prior([-0.5 * (SPREADS / 0.05) ** 2] * 5)
SURGEONS = ("foot_ankle", "hand", "sports", "trauma")


def counts_of(frame, factors):
    """Put the sums of a frame's rows to its factors."""
    return Cells.from_frame(frame, factors).counts(np.arange(len(frame)), frame)


def reduce(frame, factors):
    """Counts by the factors, from one row an episode with `y` and `d` (null where missing)."""
    known = pl.col("y").is_not_null()
    y, d = pl.col("y").filter(known), pl.col("d").filter(known)
    return counts_of(
        frame.group_by(factors).agg(
            known.sum().alias("episodes"),
            (y > 0).sum().alias("with_event"),
            known.sum().alias("children"),
            (y > 0).sum().alias("children_with_event"),
            (~known).sum().alias("missing_episodes"),
            pl.col("d").filter(~known).sum().alias("missing_denominator"),
            y.sum().alias("numerator"),
            d.sum().alias("denominator"),
            (y * y).sum().alias("numerator_squared"),
            (y * d).sum().alias("cross_product"),
            (d * d).sum().alias("denominator_squared"),
        ),
        factors,
    )


def episodes(rng, sizes, *, site_mix=None):
    """Children at sites of the given sizes, with an age and a surgeon type."""
    site = np.repeat(np.arange(len(sizes)), sizes)
    n = len(site)
    age = rng.integers(0, len(AGES), n)
    surgeon = (
        rng.integers(0, len(SURGEONS), n)
        if site_mix is None
        else np.array([rng.choice(len(SURGEONS), p=site_mix[s]) for s in site])
    )
    return pl.DataFrame(
        {
            "site": np.array([f"{SITES[k % 8]} {k // 8}" if k > 7 else SITES[k] for k in site]),
            "age_years": np.array(AGES)[age],
            "surgeon_type": np.array(SURGEONS)[surgeon],
            "older": age,
        }
    )


def with_values(frame, y, d):
    """Put numerators and denominators to the episodes."""
    return frame.with_columns(y=pl.Series(y, dtype=float), d=pl.Series(d, dtype=float))
