"""Run lengths of CUSUM charts against handbook tables."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import special

from pipeline.analysis.charts.chains import cusum_limit, cusum_run_length
from pipeline.analysis.charts.cusum import accumulate

DATA = Path(__file__).parent / "data"


def smooth_masses(cdf):
    """Return the masses of a continuous increment on a chain's grid."""

    def masses(width, reach):
        edges = (np.arange(-reach, reach) + 0.5) * width
        return np.diff(np.concatenate([[0.0], cdf(edges), [1.0]]))

    return masses


SHIFTS = (0, 0.25, 0.5, 0.75, 1, 1.5, 2, 2.5, 3, 4)
CUSUM_TABLE = {
    4: (168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71),
    5: (465, 139, 38.0, 17.0, 10.4, 5.75, 4.01, 3.11, 2.57, 2.01),
}
HALF_DIGIT = (0.5, 0.05, 0.05, 0.05, 0.005, 0.005, 0.005, 0.005, 0.005, 0.005)


@pytest.mark.parametrize("limit", [4, 5])
def test_two_sided_cusum_has_the_tabled_run_lengths(limit):
    """Lucas and Crosier 1982; Montgomery Table 9.3 (recalled); k = 0.5.

    Tolerance half of the last printed digit; 139 and 10.4 are printed to fewer.
    """
    for shift, printed, half in zip(SHIFTS, CUSUM_TABLE[limit], HALF_DIGIT, strict=True):
        sides = [
            cusum_run_length(smooth_masses(lambda x, d=d: special.ndtr(x + 0.5 - d)), limit)
            for d in (shift, -shift)
        ]
        found = 1 / sum(1 / side for side in sides)
        coarser = 10 if (limit, shift) in {(5, 0.25), (5, 1)} else 1
        assert found == pytest.approx(printed, abs=half * coarser + 1e-9)


def test_cusum_limit_comes_back_from_its_run_length():
    """One-sided k = 0.5, h = 4: 335.37 in control (R spc 0.6.7, xcusum.arl)."""
    masses = smooth_masses(lambda x: special.ndtr(x + 0.5))
    assert cusum_run_length(masses, 4.0) == pytest.approx(2 * 167.684, abs=0.05)
    assert cusum_limit(masses, cusum_run_length(masses, 4.0)) == pytest.approx(4.0, abs=1e-5)


def test_sums_accumulate_as_in_the_handbooks_tabular_cusum():
    """NIST/SEMATECH e-Handbook 6.3.2.3; data and table recalled, self-consistent."""
    with (DATA / "nist_6_3_2_3_cusum_from_memory.csv").open() as file:
        rows = list(csv.DictReader(file))
    gap = np.array([float(row["x"]) for row in rows]) - 325
    (high, signals), (low, none) = (accumulate(side * gap - 0.3175, 4.1959) for side in (1, -1))
    high, _ = accumulate(gap - 0.3175)
    for i, row in enumerate(rows):
        assert high[i] == pytest.approx(float(row["S_hi_recalled"]), abs=0.006)
        assert low[i] == pytest.approx(float(row["S_lo_recalled"]), abs=0.006)
    assert signals[0] + 1 == 14
    assert none == ()
