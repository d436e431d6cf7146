"""Turnbull's estimate against published figures and a closed form."""

import numpy as np
import pytest

from pipeline.analysis.survival.interval_censored import IntervalCounts, count_intervals, turnbull
from tests.reference.survival_tables import columns


def cosmesis(arm: str) -> IntervalCounts:
    """Months to cosmetic deterioration: Finkelstein and Wolfe 1985, Biometrics 41:933-945.

    Data as distributed with the R packages MLEcens (GPL>=2) and dynsurv (GPL>=3).
    """
    table = columns("cosmesis_finkelstein_wolfe")
    mine = table["trt"] == arm
    right = np.array([float(x) if x else np.inf for x in table["right"][mine]])
    return count_intervals(table["left"][mine].astype(float), right)


@pytest.mark.parametrize(("arm", "log_likelihood"), [("0", -58.060022), ("1", -65.636965)])
def test_masses_of_the_cosmesis_study(arm: str, log_likelihood: float) -> None:
    # IC-01: masses of Fay and Shaw 2010, J Stat Softw 36(2) (recalled, not retrieved);
    # digits from R npsurv 0.5-0.
    table = columns("cosmesis_npmle")
    mine = table["arm(0=RT,1=RT+CT)"] == arm
    result = turnbull(cosmesis(arm))
    assert result.left.tolist() == table["left"][mine].astype(float).tolist()
    assert result.right.tolist() == table["right"][mine].astype(float).tolist()
    assert result.mass == pytest.approx(table["mass"][mine].astype(float), abs=1e-8)
    assert result.log_likelihood == pytest.approx(log_likelihood, abs=1e-6)


@pytest.mark.parametrize("arm", ["0", "1"])
def test_kuhn_tucker_conditions_hold(arm: str) -> None:
    result = turnbull(cosmesis(arm))
    assert result.largest_gradient <= 1 + 1e-6
    assert result.mass.sum() == pytest.approx(1, abs=1e-12)


def test_the_curve_reaches_the_published_height() -> None:
    # IC-01: 0.465558, which R survfit at its default tolerance misses by up to 3e-4.
    assert turnbull(cosmesis("0")).still_in_place(44)[0] == pytest.approx(0.465558, abs=5e-7)


def test_closed_form() -> None:
    # IC-02, by hand: (0,2], (1,3], (2,4], (4,inf).
    result = turnbull(count_intervals([0, 1, 2, 4], [2, 3, 4, np.inf]))
    assert result.left.tolist() == [1, 2, 4]
    assert result.right.tolist() == [2, 3, np.inf]
    assert result.mass == pytest.approx([3 / 8, 3 / 8, 1 / 4], abs=1e-9)


CLOSED = {
    # IC-03: computed with an independent EM in Python; lifelines 0.30.3 follows the same
    # convention. The half-open one, IC-01, is what the records mean.
    "0": [
        (5, 5, 0.0493),
        (7, 7, 0.1026),
        (11, 11, 0.0873),
        (25, 25, 0.1072),
        (34, 34, 0.0548),
        (37, 37, 0.0917),
        (40, 40, 0.0472),
        (46, 48, 0.4600),
    ],
    "1": [
        (5, 5, 0.0701),
        (8, 8, 0.0243),
        (12, 12, 0.0589),
        (17, 17, 0.2434),
        (19, 19, 0.1204),
        (24, 24, 0.1459),
        (30, 30, 0.0445),
        (34, 34, 0.0459),
        (35, 35, 0.1426),
        (48, 48, 0.1041),
    ],
}


@pytest.mark.parametrize("arm", ["0", "1"])
def test_closed_intervals_give_another_answer(arm: str) -> None:
    result = turnbull(cosmesis(arm), closed=True)
    found = list(zip(result.left, result.right, strict=True))
    assert found == [(left, right) for left, right, _ in CLOSED[arm]]
    assert result.mass == pytest.approx([mass for *_, mass in CLOSED[arm]], abs=5.1e-5)
    if arm == "0":
        assert result.log_likelihood == pytest.approx(-54.272818, abs=1e-6)


def test_another_copy_of_the_data_differs() -> None:
    # IC-01, trap: R KMsurv 0.1-5 (`bcdeter`, GPL>=3) has 49 rows and exact months in arm
    # 2; its log-likelihood is -67.0877 (R npsurv 0.5-0).
    table = columns("bcdeter_kmsurv_variant")
    mine = table["treat"] == "2"
    right = np.array([float(x) if x not in {"", "NA"} else np.inf for x in table["upper"][mine]])
    result = turnbull(count_intervals(table["lower"][mine].astype(float), right))
    assert result.episodes == 49
    assert result.log_likelihood == pytest.approx(-67.0877, abs=5e-5)
