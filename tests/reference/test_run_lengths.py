"""Run lengths of Shewhart, CUSUM and EWMA charts against handbook tables."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import special

from pipeline.analysis.charts.automaton import expected_steps, zone_automaton
from pipeline.analysis.charts.chains import (
    cusum_limit,
    cusum_run_length,
    ewma_matrix,
    ewma_start,
    run_length,
)
from pipeline.analysis.charts.cusum import accumulate
from pipeline.analysis.charts.detectability import MOST_STATES

DATA = Path(__file__).parent / "data"
OPEN_EDGES = np.array([-np.inf, -3, -2, -1, 0, 0, 1, 2, 3, np.inf])
RULE = {1: "beyond_limit", 2: "two_of_three", 3: "four_of_five", 4: "eight_in_a_row"}


def smooth_masses(cdf):
    """Return the masses of a continuous increment on a chain's grid."""

    def masses(width, reach):
        edges = (np.arange(-reach, reach) + 0.5) * width
        return np.diff(np.concatenate([[0.0], cdf(edges), [1.0]]))

    return masses


def normal_bands(shift):
    return np.diff(special.ndtr(OPEN_EDGES - shift))


@pytest.mark.parametrize(
    ("rules", "shift", "printed", "digits"),
    [
        ((1,), 0, 370.40, 370.398347345),
        ((1, 2), 0, 225.44, 225.4384067416),
        ((1, 3), 0, 166.05, 166.0545171305),
        ((1, 4), 0, 152.73, 152.7300653395),
        ((1, 2, 3), 0, 132.89, 132.8928113916),
        ((1, 2, 4), 0, 122.05, 122.0507720124),
        ((1, 3, 4), 0, 105.78, 105.7830650447),
        ((1, 2, 3, 4), 0, 91.75, 91.7507731283),
        ((1, 2, 3, 4), 1, 9.22, 9.2218599635),
        ((1,), 1, 43.89, 43.8946817185),
    ],
)
def test_zone_rules_have_champ_and_woodalls_run_lengths(rules, shift, printed, digits):
    """Champ and Woodall 1987, Technometrics 29:393-399 (recalled, not retrieved)."""
    chain = zone_automaton(tuple(RULE[rule] for rule in rules))
    found = expected_steps(chain, normal_bands(shift))
    assert found == pytest.approx(printed, abs=0.006)
    assert found == pytest.approx(digits, rel=1e-9)


def test_fifteen_inside_one_sigma_has_the_run_length_of_successes_in_a_row():
    """Feller, vol. 1, XIII.7 (recalled): (q^-r - 1) / (1 - q) trials until r successes in a row."""
    q = special.ndtr(1) - special.ndtr(-1)
    exact = expected_steps(zone_automaton(("fifteen_inside",)), normal_bands(0))
    assert exact == pytest.approx((q**-15 - 1) / (1 - q), rel=1e-9)


def test_eight_outside_one_sigma_on_both_sides_has_the_run_length_of_simulated_windows():
    """Points of three times the spread, so that the rule fires often; windows of eight by numpy."""
    chain = zone_automaton(("eight_outside",))
    exact = expected_steps(chain, np.diff(special.ndtr(OPEN_EDGES / 3)))
    z = np.random.default_rng(5).normal(scale=3, size=(3000, 400))
    window = np.lib.stride_tricks.sliding_window_view(z, 8, axis=1)
    fires = (np.abs(window) > 1).all(axis=2) & (window.max(axis=2) > 0) & (window.min(axis=2) < 0)
    assert fires.any(axis=1).all()
    waits = fires.argmax(axis=1) + 8
    assert abs(waits.mean() - exact) < 4 * waits.std() / np.sqrt(waits.size)


def test_all_zone_rules_at_once_are_still_one_chain():
    rules = ("beyond_limit", "two_of_three", "four_of_five", "eight_in_a_row", "fifteen_inside",
             "eight_outside")  # fmt: skip
    chain = zone_automaton(rules)
    assert len(chain.step) < MOST_STATES
    assert expected_steps(chain, normal_bands(0)) < 91.75


def test_nine_in_a_row_with_the_limits():
    """Exact Markov chain, recomputed; no printed source."""
    chain = zone_automaton(("beyond_limit", "nine_in_a_row"))
    assert expected_steps(chain, normal_bands(0)) == pytest.approx(216.6955438027, rel=1e-9)


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


@pytest.mark.parametrize(
    ("weight", "width", "at_one_sigma"),
    [(0.4, 3.054, 14.3), (0.25, 2.998, 11.1), (0.2, 2.962, 10.5), (0.1, 2.814, 10.3),
     (0.05, 2.615, 11.4)],
)  # fmt: skip
def test_ewma_has_lucas_and_saccuccis_run_lengths(weight, width, at_one_sigma):
    """Lucas and Saccucci 1990, Technometrics 32:1-12 (recalled): 500 in control."""
    half = width * np.sqrt(weight / (2 - weight))
    for shift, printed, tolerance in ((0, 500, 1.0), (1, at_one_sigma, 0.1)):
        matrix = ewma_matrix(lambda x, d=shift: special.ndtr(x - d), -half, half, weight)
        found = run_length(matrix, ewma_start(0.0, -half, half))
        assert found == pytest.approx(printed, abs=tolerance)


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
