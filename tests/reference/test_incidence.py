"""Cumulative incidence and Gray's test against published figures."""

import numpy as np
import pytest

from pipeline.analysis.survival.event_counts import EventCounts
from pipeline.analysis.survival.group_tests import gray, stratified_gray
from pipeline.analysis.survival.incidence import incidence
from pipeline.analysis.survival.time_in_place import time_in_place
from tests.episodes import from_episodes
from tests.reference.survival_tables import HIV, MELANOMA, aidssi, columns, counted, melanoma

# CR-02: R 4.2.2, survival 3.5-3 (its errors equal etm 1.1.1's Greenwood), on the data of
# Andersen et al. 1993 as distributed with R boot.
MELANOMA_ROWS = [
    (1000, 0.1274571360, 0.0233490560, 0.0342670853, 0.0127281501),
    (2000, 0.2301396344, 0.0299108626, 0.0504564445, 0.0156106290),
    (3000, 0.3096201657, 0.0369524365, 0.0581114291, 0.0172572378),
    (4000, 0.3387175089, 0.0408360078, 0.1059470641, 0.0318681996),
]
# CR-03: R 4.2.2 on the data of Putter, Fiocco and Geskus 2007.
AIDS_ROWS = [
    (2.5, 0.0190347, 0.0499283),
    (5.0, 0.1297123, 0.1575573),
    (7.5, 0.2431614, 0.2730063),
    (10.0, 0.3350518, 0.3345899),
]


@pytest.mark.parametrize(("day", "own", "own_se", "other", "other_se"), MELANOMA_ROWS)
def test_melanoma_incidence_and_greenwood_errors(
    day: float, own: float, own_se: float, other: float, other_se: float
) -> None:
    days, reason, _ = melanoma()
    at = incidence(from_episodes(days, reason, MELANOMA)).at(day)
    assert at.incidence[0] == pytest.approx([own, other], abs=1e-10)
    assert at.se[0] == pytest.approx([own_se, other_se], abs=1e-10)


def test_errors_are_not_those_of_the_other_estimator() -> None:
    # CR-02, third column: R cmprsk 2.2-11 gives 0.0234119337 at 1000 days.
    days, reason, _ = melanoma()
    se = incidence(from_episodes(days, reason, MELANOMA)).at(1000).se[0, 0]
    assert abs(se - 0.0234119337) > 5e-5


@pytest.mark.parametrize(("year", "aids", "si"), AIDS_ROWS)
def test_aids_incidence(year: float, aids: float, si: float) -> None:
    years, reason, _ = aidssi()
    at = incidence(from_episodes(years, reason, HIV)).at(year)
    assert at.incidence[0] == pytest.approx([aids, si], abs=5e-8)
    if year == 5.0:
        assert at.se[0] == pytest.approx([0.0191436, 0.0206896], abs=5e-8)


def toy() -> EventCounts:
    times = [1, 2, 2, 3, 4, 4, 5, 6, 7, 8]
    causes = np.array([1, 2, 0, 1, 1, 2, 0, 2, 1, 0])
    return from_episodes(times, causes - 1, ["one", "two"])


def test_toy_worked_by_hand() -> None:
    # CR-04: by hand. An event comes before a censoring at the same time, and two reasons
    # at the same time share one risk set.
    at = incidence(toy()).at([1, 2, 3, 4, 6, 7])
    one = [0.1, 0.1, 0.2142857143, 0.3285714286, 0.3285714286, 0.4809523810]
    two = [0.0, 0.1, 0.1, 0.2142857143, 0.3666666667, 0.3666666667]
    in_place = [0.9, 0.8, 0.6857142857, 0.4571428571, 0.3047619048, 0.1523809524]
    assert at.incidence[:, 0] == pytest.approx(one, abs=1e-9)
    assert at.incidence[:, 1] == pytest.approx(two, abs=1e-9)
    assert at.still_in_place == pytest.approx(in_place, abs=1e-9)
    assert time_in_place(toy()).at([1, 2, 3, 4, 6, 7]).estimate == pytest.approx(in_place)


def test_toy_adds_to_one_at_every_time() -> None:
    result = incidence(toy())
    total = result.incidence.sum(axis=1) + result.still_in_place
    assert np.max(np.abs(total - 1)) < 1e-12


@pytest.mark.parametrize(
    ("by", "reason", "statistic", "p_value"),
    [
        # CR-02: R cmprsk 2.2-11.
        ("sex", "melanoma", 5.8140208555, 0.0158989),
        ("sex", "other", 0.8543655951, 0.3553203),
        ("ulcer", "melanoma", 26.1207190334, 3.2072e-07),
        ("ulcer", "other", 0.1586620384, 0.6903914),
    ],
)
def test_gray_on_melanoma(by: str, reason: str, statistic: float, p_value: float) -> None:
    days, index, table = melanoma()
    result = gray(counted(days, index, MELANOMA, table[by], ["0", "1"]), reason)
    assert result.chi_square == pytest.approx(statistic, rel=1e-9)
    assert result.p_value == pytest.approx(p_value, rel=2e-5)


@pytest.mark.parametrize(
    ("reason", "statistic"),
    # CR-03: R cmprsk 2.2-11, men of known CCR5 type.
    [("AIDS", 13.149851203552), ("SI", 0.005817877001)],
)
def test_gray_by_ccr5(reason: str, statistic: float) -> None:
    years, index, ccr5 = aidssi()
    result = gray(counted(years, index, HIV, ccr5, ["WW", "WM"]), reason)
    assert result.chi_square == pytest.approx(statistic, rel=1e-9)


@pytest.mark.parametrize(
    ("reason", "plain", "stratified"),
    [
        # R 4.2.2, cmprsk 2.2-11: cuminc on the invented table of made_up_ties.R, four
        # groups, three strata, many ties.
        ("a", 5.38306965386748, 4.85903778886433),
        ("b", 1.81797846553818, 1.86189919988502),
        ("c", 1.65109316246774, 1.64257406822262),
    ],
)
def test_gray_with_four_groups_and_strata(reason: str, plain: float, stratified: float) -> None:
    table = {key: value.astype(float) for key, value in columns("made_up_ties").items()}

    def part(of: np.ndarray) -> list[EventCounts]:
        index = table["st"].astype(int) - 1
        return counted(
            table["t"][of], index[of], ["a", "b", "c"], table["g"][of], [1.0, 2.0, 3.0, 4.0]
        )

    everyone = np.ones(len(table["t"]), bool)
    assert gray(part(everyone), reason).chi_square == pytest.approx(plain, rel=1e-12)
    strata = [part(table["s"] == s) for s in (1, 2, 3)]
    result = stratified_gray(strata, reason)
    assert result.chi_square == pytest.approx(stratified, rel=1e-12)
    assert result.degrees == 3
