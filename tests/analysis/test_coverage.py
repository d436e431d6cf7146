"""Five hundred simulated programmes: do 95% limits hold the planted truth 95% of the time?

The data are invented: 300 catheters a programme, exponential hazards of two reasons, a
planned end at 72 h, a tenth last known in place at an earlier hour.
"""

import numpy as np
import pytest

from pipeline.analysis.counts import CENSORED, EventCounts, from_episodes
from pipeline.analysis.cox import cox
from pipeline.analysis.fine_gray import fine_gray
from pipeline.analysis.group_tests import gray, incidence_differences, log_rank
from pipeline.analysis.incidence import incidence
from pipeline.analysis.models import ALONE, ModelData
from pipeline.analysis.terms import Column, Design
from pipeline.analysis.time_in_place import time_in_place

PROGRAMMES = 500
CATHETERS = 300
DISLODGED_AN_HOUR, LEAKAGE_AN_HOUR = 0.004, 0.002
LOG_RATIO = np.log(1.6)  # of dislodgement, with the covariate
REASONS = ("dislodged", "leakage", "completed")
# 500 programmes at a true 95% spread by 1% about it; hence the issue of 93% to 97%.
LOWEST, HIGHEST = 0.93, 0.97


def programme(rng: np.random.Generator, ratio: float = 0.0) -> tuple[np.ndarray, ...]:
    """Hours, reason and covariate of one programme."""
    with_it = rng.random(CATHETERS) < 0.5
    dislodged = rng.exponential(1 / (DISLODGED_AN_HOUR * np.exp(ratio * with_it)))
    leakage = rng.exponential(1 / LEAKAGE_AN_HOUR, CATHETERS)
    out = np.minimum(np.minimum(dislodged, leakage), 72)
    reason = np.where(out == 72, 2, np.where(out == dislodged, 0, 1))
    lost = np.where(rng.random(CATHETERS) < 0.1, 72 * rng.random(CATHETERS), np.inf)
    hours = np.minimum(out, lost)
    return hours, np.where(lost < out, CENSORED, reason), with_it


def true_incidence(hour: float) -> float:
    both = DISLODGED_AN_HOUR + LEAKAGE_AN_HOUR
    return DISLODGED_AN_HOUR / both * -np.expm1(-both * hour)


def held(limits: list[tuple[float, float]], truth: float) -> float:
    lower, upper = np.array(limits).T
    return float(np.mean((lower <= truth) & (truth <= upper)))


@pytest.mark.slow
def test_limits_of_the_curves_hold_the_truth() -> None:
    rng = np.random.default_rng(20250101)
    both = DISLODGED_AN_HOUR + LEAKAGE_AN_HOUR
    in_place, median_mean, dislodged, lost = [], [], [], []
    for _ in range(PROGRAMMES):
        hours, reason, _ = programme(rng)
        counts = from_episodes(hours, reason, REASONS)
        curve, reasons = time_in_place(counts), incidence(counts)
        at, at_reasons = curve.at(48), reasons.at(48)
        in_place.append((at.lower[0], at.upper[0]))
        dislodged.append((at_reasons.lower[0, 0], at_reasons.upper[0, 0]))
        mean = curve.restricted_mean(60)
        median_mean.append((mean.lower, mean.upper))
        time = reasons.time_lost(60)
        lost.append((time.hours[0] - 1.96 * time.se[0], time.hours[0] + 1.96 * time.se[0]))
    mean_truth = -np.expm1(-both * 60) / both
    assert LOWEST <= held(in_place, np.exp(-both * 48)) <= HIGHEST
    assert LOWEST <= held(dislodged, true_incidence(48)) <= HIGHEST
    assert LOWEST <= held(median_mean, mean_truth) <= HIGHEST
    lost_truth = DISLODGED_AN_HOUR / both * (60 - mean_truth)
    assert LOWEST <= held(lost, lost_truth) <= HIGHEST


def model_data(hours: np.ndarray, reason: np.ndarray, with_it: np.ndarray) -> ModelData:
    n = len(hours)
    outcome = np.select([reason == CENSORED, reason == 0], [0, 1], 2)
    design = Design(np.array([[0.0], [1.0]]), (Column("x", None, None),))
    return ModelData(
        design,
        with_it.astype(np.int64),
        hours,
        outcome,
        np.ones(n, np.int64),
        np.full(n, ALONE),
        np.zeros(n, np.int64),
    )


@pytest.mark.slow
def test_limits_of_the_ratios_hold_the_truth() -> None:
    rng = np.random.default_rng(20250102)
    cause_specific, subdistribution = [], []
    for _ in range(PROGRAMMES):
        data = model_data(*programme(rng, LOG_RATIO))
        fit = cox(data)
        cause_specific.append((fit.lower[0], fit.upper[0]))
        # Without a ratio the subdistribution hazards are equal too.
        null = fine_gray(model_data(*programme(rng)))
        subdistribution.append((null.lower[0], null.upper[0]))
    assert LOWEST <= held(cause_specific, np.exp(LOG_RATIO)) <= HIGHEST
    assert LOWEST <= held(subdistribution, 1.0) <= HIGHEST


def by_covariate(
    hours: np.ndarray, reason: np.ndarray, with_it: np.ndarray
) -> tuple[EventCounts, EventCounts]:
    without, have = (
        from_episodes(hours[with_it == w], reason[with_it == w], REASONS, group=str(w))
        for w in (False, True)
    )
    return without, have


@pytest.mark.slow
def test_tests_between_equal_groups_err_as_often_as_they_say() -> None:
    rng = np.random.default_rng(20250103)
    p_values, differences = [], []
    for _ in range(PROGRAMMES):
        without, have = by_covariate(*programme(rng))
        p_values.append(
            (log_rank([without, have]).p_value, gray([without, have], "dislodged").p_value)
        )
        found = incidence_differences(without, have, "dislodged", [48])
        differences.append((found.lower[0], found.upper[0]))
    for false_alarms in np.mean(np.array(p_values) < 0.05, axis=0):
        assert 1 - HIGHEST <= false_alarms <= 1 - LOWEST
    assert LOWEST <= held(differences, 0.0) <= HIGHEST
