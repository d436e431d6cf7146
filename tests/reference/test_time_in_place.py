"""Kaplan-Meier, restricted mean and log-rank against published figures."""

import numpy as np
import pytest

from pipeline.analysis.survival.event_counts import EventCounts
from pipeline.analysis.survival.group_tests import (
    in_place_differences,
    log_rank,
    stratified_log_rank,
)
from pipeline.analysis.survival.time_in_place import time_in_place
from tests.episodes import from_episodes
from tests.reference.survival_tables import columns, counted, six_mp

# SV-01. Curve and Greenwood errors of the 6-MP arm: Freireich 1963 and Gehan 1965 as
# tabulated in textbooks (three decimals recalled, not retrieved); six decimals
# computed with R 4.2.2, survival 3.5-3.
SIX_MP = [
    (6, 0.857143, 0.0763604),
    (7, 0.806723, 0.0869353),
    (10, 0.752941, 0.0963497),
    (13, 0.690196, 0.1068147),
    (16, 0.627451, 0.1140539),
    (22, 0.537815, 0.1282338),
    (23, 0.448179, 0.1345915),
]
CONTROL = [
    (1, 0.904762),
    (2, 0.809524),
    (3, 0.761905),
    (4, 0.666667),
    (5, 0.571429),
    (8, 0.380952),
    (11, 0.285714),
    (12, 0.190476),
    (15, 0.142857),
    (17, 0.095238),
    (22, 0.047619),
    (23, 0.0),
]


@pytest.mark.parametrize(("hour", "estimate", "se"), SIX_MP)
def test_six_mp_curve_and_greenwood_errors(hour: float, estimate: float, se: float) -> None:
    curve = time_in_place(six_mp()[0])
    row = int(np.flatnonzero(curve.hours == hour)[0])
    assert curve.estimate[row] == pytest.approx(estimate, abs=5e-7)
    assert curve.se[row] == pytest.approx(se, abs=5e-8)


@pytest.mark.parametrize(("hour", "estimate"), CONTROL)
def test_control_curve(hour: float, estimate: float) -> None:
    assert time_in_place(six_mp()[1]).at(hour).estimate[0] == pytest.approx(estimate, abs=5e-7)


def test_log_log_limits_at_ten() -> None:
    # SV-01: R survival 3.5-3, conf.type "log-log".
    at = time_in_place(six_mp()[0]).at(10)
    assert at.lower[0] == pytest.approx(0.503200, abs=5e-7)
    assert at.upper[0] == pytest.approx(0.889362, abs=5e-7)
    assert at.n[0] == 15


def test_medians_with_log_log_limits() -> None:
    # SV-01: R survival 3.5-3, conf.type "log-log".
    treated, control = (time_in_place(counts).median for counts in six_mp())
    assert (treated.hours, treated.lower) == (23, 13)
    assert np.isnan(treated.upper)
    assert (control.hours, control.lower, control.upper) == (8, 4, 11)


@pytest.mark.parametrize(
    ("arm", "until", "mean", "se"),
    [
        # SV-04: R 4.2.2 survival 3.5-3 on the 6-MP trial.
        (0, 20, 16.116526611, 1.251560196),
        (1, 20, 8.4285714286, 1.268082683),
        (0, 10, 9.277310924, 0.3267691154),
        (1, 10, 6.619047619, 0.7330122689),
    ],
)
def test_restricted_mean_has_the_error_of_the_estimator(
    arm: int, until: float, mean: float, se: float
) -> None:
    result = time_in_place(six_mp()[arm]).restricted_mean(until)
    assert result.hours == pytest.approx(mean, abs=1e-8)
    assert result.se == pytest.approx(se, abs=1e-8)


def pbc_arms() -> list[EventCounts]:
    table = columns("pbc_trial312_survival")
    years = table["time"].astype(float) / 365.25
    reason = np.where(table["status"] == "2", 0, -1)
    return counted(years, reason, ["death"], table["trt"], ["1", "2"])


def test_restricted_mean_of_the_pbc_trial() -> None:
    # SV-04: figures of the vignette of the R package survRM2 (Uno et al.; recalled, not
    # retrieved); seven decimals computed with R 4.2.2. Data: R survival (`pbc`).
    means = [time_in_place(counts).restricted_mean(10.0) for counts in pbc_arms()]
    assert [m.hours for m in means] == pytest.approx([7.1464930, 7.2834158], abs=5e-8)
    assert [m.se for m in means] == pytest.approx([0.2827748, 0.2954781], abs=6e-8)
    assert (means[0].lower, means[0].upper) == pytest.approx((6.592, 7.701), abs=5e-4)
    assert (means[1].lower, means[1].upper) == pytest.approx((6.704, 7.863), abs=6e-4)


def test_log_rank_of_the_six_mp_trial() -> None:
    # SV-02: chi-square 16.79 (recalled, not retrieved); digits and counts from R 4.2.2.
    result = log_rank(six_mp())
    assert result.chi_square == pytest.approx(16.7929409892, abs=1e-8)
    assert result.p_value == pytest.approx(4.169e-05, abs=5e-9)
    assert result.observed.tolist() == [9, 21]
    assert result.expected == pytest.approx([19.250500948, 10.749499052], abs=1e-8)
    assert result.degrees == 1


def ties() -> dict[str, np.ndarray]:
    """400 invented episodes with many ties, written by made_up_ties.R."""
    table = columns("made_up_ties")
    return {key: value.astype(float) for key, value in table.items()}


def test_log_rank_of_four_groups_and_of_three_strata() -> None:
    # R 4.2.2, survival 3.5-3: survdiff on the invented table (made_up_ties.R).
    table = ties()
    strata = [
        [
            from_episodes(
                table["t"][(table["g"] == g) & (table["s"] == s)],
                table["st"][(table["g"] == g) & (table["s"] == s)].astype(int) - 1,
                ["a", "b", "c"],
                group=str(g),
            )
            for g in (1, 2, 3, 4)
        ]
        for s in (1, 2, 3)
    ]
    whole = [
        from_episodes(
            table["t"][table["g"] == g],
            table["st"][table["g"] == g].astype(int) - 1,
            ["a", "b", "c"],
            group=str(g),
        )
        for g in (1, 2, 3, 4)
    ]
    assert log_rank(whole).chi_square == pytest.approx(5.28080811114134, rel=1e-12)
    stratified = stratified_log_rank(strata)
    assert stratified.chi_square == pytest.approx(5.11216539936765, rel=1e-12)
    assert stratified.degrees == 3


def test_difference_between_arms_is_that_of_the_curves() -> None:
    treated, control = six_mp()
    result = in_place_differences(control, treated, [10])
    # SV-01's curves at 10: 0.752941 (0.0963497) and 0.380952 (Greenwood 0.105971, by hand:
    # without censoring it is the binomial sqrt(p(1-p)/21)).
    assert result.difference[0] == pytest.approx(0.752941 - 0.380952, abs=1e-6)
    binomial = np.sqrt(0.380952 * 0.619048 / 21)
    assert result.se[0] == pytest.approx(np.hypot(0.0963497, binomial), abs=1e-6)
