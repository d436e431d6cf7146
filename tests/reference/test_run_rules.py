"""Run rules against printed tables; each test names its source."""

import csv
from itertools import groupby, product
from pathlib import Path

import numpy as np
import pytest
from scipy import special

from pipeline.analysis.charts import Counts, control_chart
from pipeline.analysis.charts.runs import (
    crossings_limit,
    crossings_tail,
    longest_run_limit,
    longest_run_tail,
    runs_of,
)
from pipeline.analysis.charts.signals import beyond

DATA = Path(__file__).parent / "data"


def rows(name):
    with (DATA / name).open() as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows("run_chart_limits_10_60.csv"), ids=lambda r: r["n_useful"])
def test_run_chart_limits_and_their_false_alarm_chances(row):
    """Anhøj and Olesen 2014, PLoS ONE 9(11):e113825.

    Limits for 10 to 30 points recalled, the rest computed from the formula;
    chances by exact recursion and the binomial.
    """
    n = int(row["n_useful"])
    longest, fewest = longest_run_limit(n), crossings_limit(n)
    assert longest == int(row["longest_run_upper_limit"])
    assert fewest == int(row["crossings_lower_limit"])
    assert longest_run_tail(n, longest + 1) == pytest.approx(
        float(row["P(longest run > limit)"]), abs=6e-7
    )
    assert crossings_tail(n, fewest - 1) == pytest.approx(
        float(row["P(crossings < limit)"]), abs=6e-7
    )


def test_longest_run_chance_is_that_of_all_sequences_counted():
    longest = [max(len(list(g)) for _, g in groupby(s)) for s in product("ab", repeat=12)]
    for length in range(1, 14):
        assert longest_run_tail(12, length) == np.mean(np.array(longest) >= length)


def test_worked_example_of_24_points_has_no_signal():
    """Wentzel-Larsen and Anhøj 2022, note to PLoS ONE 2019 14:e0223233: run 5, crossings 11."""
    assert longest_run_limit(24) >= 5
    assert crossings_limit(24) <= 11


def test_a_run_of_seven_among_thirteen_is_not_yet_a_shift():
    """The rule is longer than round(log2 13 + 3) = 7; Anhøj and Olesen 2014."""
    up, down = [200.0] * 7, [100.0, 200.0, 100.0, 200.0, 100.0, 200.0]
    assert "long_run" not in kinds_of([*up, *down])
    assert "long_run" in kinds_of([*up, 200.0, *down])


def kinds_of(values):
    periods = tuple(f"{i:03d}" for i in range(len(values)))
    counts = Counts(periods, values, np.ones(len(values)))
    chart = control_chart(counts, kind="u", forced=True)
    return {signal.kind for signal in chart.signals}


@pytest.mark.parametrize("row", rows("runs_test_critical_values.csv"), ids=lambda r: r["N"])
def test_number_of_runs_has_the_exact_conditional_distribution(row):
    """Swed and Eisenhart 1943, Ann Math Stat 14:66-87 (values recalled; rest computed).

    With m points above and n below, the crossings counted here plus one are
    their number of runs: shuffles follow the exact distribution behind the
    critical values.
    """
    m, n = int(row["m"]), int(row["n"])
    lower = int(row["lower_crit_0.025"])
    exact = sum(chance_of_runs(r, m, n) for r in range(2, lower + 1))
    assert exact == pytest.approx(float(row["P(R<=lower_0.025)"]), abs=6e-7)
    rng = np.random.default_rng(m)
    series = rng.permuted(np.tile(np.repeat([1, -1], [m, n]), (400, 1)), axis=1)
    group = np.repeat(np.arange(400), m + n)
    _, _, owner = runs_of(series.ravel(), group)
    simulated = np.mean(np.bincount(owner) <= lower)
    assert abs(simulated - exact) < 4.5 * np.sqrt(exact * (1 - exact) / 400)


def chance_of_runs(r, m, n):
    choose = special.comb
    if r % 2 == 0:
        ways = 2 * choose(m - 1, r // 2 - 1) * choose(n - 1, r // 2 - 1)
    else:
        k = (r - 1) // 2
        ways = choose(m - 1, k) * choose(n - 1, k - 1) + choose(m - 1, k - 1) * choose(n - 1, k)
    return ways / choose(m + n, m)


def test_published_runs_test_probabilities():
    """Swed and Eisenhart 1943 (recalled): P(R<=6) = 0.019 and P(R<=7) = 0.051 at 10, 10."""
    assert sum(chance_of_runs(r, 10, 10) for r in range(2, 7)) == pytest.approx(0.019, abs=5e-4)
    assert sum(chance_of_runs(r, 10, 10) for r in range(2, 8)) == pytest.approx(0.051, abs=5e-4)


def test_a_point_on_the_limit_is_not_beyond_it():
    """Beyond three sigma, strictly; made up."""
    three = np.full(4, 3.0)
    below, above = beyond(np.array([0.1, -0.4, 3.1, 0.2]), -three, three)
    assert above.tolist() == [False, False, True, False]
    below, above = beyond(np.array([0.2, 3.0, -0.1, -3.0]), -three, three)
    assert not (below | above).any()
