"""Turnbull's estimate against published figures and a closed form."""

import numpy as np
import pytest

from pipeline.analysis.survival.interval_censored import IntervalCounts, turnbull_curve
from tests.episodes import count_intervals
from tests.reference.survival_tables import columns


def cosmesis(arm: str) -> IntervalCounts:
    """Months to cosmetic deterioration: Finkelstein and Wolfe 1985, Biometrics 41:933-945.

    Data as distributed with the R packages MLEcens (GPL>=2) and dynsurv (GPL>=3).
    """
    table = columns("cosmesis_finkelstein_wolfe")
    mine = table["trt"] == arm
    right = np.array([float(x) if x else np.inf for x in table["right"][mine]])
    return count_intervals(table["left"][mine].astype(float), right)


def still_in_place(counts: IntervalCounts, hours) -> np.ndarray:
    return turnbull_curve(counts, hours, resamples=1).estimate


@pytest.mark.parametrize("arm", ["0", "1"])
def test_masses_of_the_cosmesis_study(arm: str) -> None:
    # IC-01: masses of Fay and Shaw 2010, J Stat Softw 36(2) (recalled, not retrieved);
    # digits from R npsurv 0.5-0. Mass lies at the end of its interval.
    table = columns("cosmesis_npmle")
    mine = table["arm(0=RT,1=RT+CT)"] == arm
    mass, right = (table[name][mine].astype(float) for name in ("mass", "right"))
    curve = still_in_place(cosmesis(arm), right)
    assert curve == pytest.approx(1 - np.cumsum(mass), abs=1e-7)
    between = (table["left"][mine].astype(float) + right) / 2
    inside = np.concatenate([[1.0], curve[:-1]])
    assert still_in_place(cosmesis(arm), between) == pytest.approx(inside, abs=1e-12)


def test_the_curve_reaches_the_published_height() -> None:
    # IC-01: 0.465558, which R survfit at its default tolerance misses by up to 3e-4.
    assert still_in_place(cosmesis("0"), 44)[0] == pytest.approx(0.465558, abs=5e-7)


def test_closed_form() -> None:
    # IC-02, by hand: (0,2], (1,3], (2,4], (4,inf).
    counts = count_intervals([0, 1, 2, 4], [2, 3, 4, np.inf])
    assert still_in_place(counts, [2, 3, 4]) == pytest.approx([5 / 8, 1 / 4, 1 / 4], abs=1e-9)
