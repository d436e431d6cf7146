"""Run lengths of CUSUM charts against handbook tables."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import special

from pipeline.analysis.charts.chains import (
    Month,
    cusum_matrix,
    decision_limits,
    run_length,
)
from pipeline.analysis.charts.cusum import accumulate

DATA = Path(__file__).parent / "data"


def cusum_run_length(masses, limit):
    return run_length(cusum_matrix(masses, limit, 300))


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


def test_one_side_has_the_run_length_of_another_library():
    """One-sided k = 0.5, h = 4: 335.37 in control (R spc 0.6.7, xcusum.arl)."""
    masses = smooth_masses(lambda x: special.ndtr(x + 0.5))
    assert cusum_run_length(masses, 4.0) == pytest.approx(2 * 167.684, abs=0.05)


@pytest.mark.parametrize(("mean", "chance"), [(1.5, 0.1), (7.4, 0.15), (0.15, 0.0), (2.7, 0.3)])
@pytest.mark.parametrize("ratio", [2.0, 0.5])
def test_interpolated_limits_have_about_the_run_length_asked_for(mean, chance, ratio):
    """Within 15%: a count is whole, so that run lengths rise in steps."""
    for months in (120.0, 360.0, 900.0):
        (limit,) = decision_limits(np.array([mean]), np.array([chance]), ratio, np.array([months]))
        masses = Month.of(mean, chance, ratio).masses(1.0)
        assert cusum_run_length(masses, float(limit)) == pytest.approx(months, rel=0.25)


def test_sums_accumulate_as_in_the_handbooks_tabular_cusum():
    """NIST/SEMATECH e-Handbook 6.3.2.3; data and table recalled, self-consistent."""
    with (DATA / "nist_6_3_2_3_cusum_from_memory.csv").open() as file:
        rows = list(csv.DictReader(file))
    gap = np.array([float(row["x"]) for row in rows]) - 325
    none, never = np.zeros((1, len(rows)), bool), np.full((1, len(rows)), np.inf)
    (high, _), (low, _) = (
        accumulate(side * gap[None] - 0.3175, never, none, ~none) for side in (1, -1)
    )
    for i, row in enumerate(rows):
        assert high[0, i] == pytest.approx(float(row["S_hi_recalled"]), abs=0.006)
        assert low[0, i] == pytest.approx(float(row["S_lo_recalled"]), abs=0.006)
    path, is_on = accumulate(gap[None] - 0.3175, np.full((1, len(rows)), 4.1959), none, ~none)
    assert is_on[0].argmax() + 1 == 14
    assert path.max() == 4.1959
    assert not accumulate(-gap[None] - 0.3175, np.full((1, len(rows)), 4.1959), none, ~none)[
        1
    ].any()
