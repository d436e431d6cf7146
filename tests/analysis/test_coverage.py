"""Five hundred simulated programmes: do 95% limits hold the planted truth 95% of the time?

The data are invented: 300 catheters a programme, exponential hazards of two reasons, a
planned end at 72 h, a tenth last known in place at an earlier hour.
"""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.analysis.rates.rates import rates
from pipeline.analysis.survival.cox import cox
from pipeline.analysis.survival.event_counts import CENSORED, EventCounts
from pipeline.analysis.survival.fine_gray import fine_gray
from pipeline.analysis.survival.group_tests import gray, incidence_differences, log_rank
from pipeline.analysis.survival.incidence import incidence
from pipeline.analysis.survival.model_data import ALONE, ModelData
from pipeline.analysis.survival.terms import Coefficient, Design
from pipeline.analysis.survival.time_in_place import time_in_place
from tests.episodes import from_episodes

PROGRAMMES = 500
CATHETERS = 300
DISLODGED_AN_HOUR, LEAKAGE_AN_HOUR = 0.004, 0.002
LOG_RATIO = np.log(1.6)  # of dislodgement, with the covariate
REASONS = ("dislodged", "leakage", "completed")
# 500 programmes at a true 95% spread by 1% about it; hence the issue of 93% to 97%.
LOWEST, HIGHEST = 0.93, 0.97
HOURS = (24, 48, 71)


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
    mean = -np.expm1(-both * 60) / both
    share = DISLODGED_AN_HOUR / both
    truths = {"mean": mean, "dislodged lost": share * (60 - mean)}
    for hour in HOURS:
        truths[f"in place {hour}"] = np.exp(-both * hour)
        truths[f"dislodged {hour}"] = true_incidence(hour)
        truths[f"leakage {hour}"] = true_incidence(hour) * LEAKAGE_AN_HOUR / DISLODGED_AN_HOUR
    found: dict[str, list[tuple[float, float]]] = {name: [] for name in truths}
    for _ in range(PROGRAMMES):
        hours, reason, _ = programme(rng)
        counts = from_episodes(hours, reason, REASONS)
        curve, reasons = time_in_place(counts), incidence(counts)
        at, at_reasons = curve.at(HOURS), reasons.at(HOURS)
        for i, hour in enumerate(HOURS):
            found[f"in place {hour}"].append((at.lower[i], at.upper[i]))
            for j, name in enumerate(("dislodged", "leakage")):
                limits = at_reasons.lower[i, j], at_reasons.upper[i, j]
                found[f"{name} {hour}"].append(limits)
        restricted, time = curve.restricted_mean(60), reasons.time_lost(60)
        found["mean"].append((restricted.lower, restricted.upper))
        half = 1.96 * time.se[0]
        found["dislodged lost"].append((time.hours[0] - half, time.hours[0] + half))
    for name, truth in truths.items():
        assert LOWEST <= held(found[name], truth) <= HIGHEST, name


@pytest.mark.slow
def test_limits_of_the_median_hold_the_truth() -> None:
    rng = np.random.default_rng(20250104)
    out = rng.exponential(60 / np.log(2), (PROGRAMMES, CATHETERS))
    lost = rng.exponential(300, (PROGRAMMES, CATHETERS))
    hours, reason = np.minimum(out, lost), np.where(lost < out, CENSORED, 0)
    medians = [
        time_in_place(from_episodes(*episodes, REASONS)).median
        for episodes in zip(hours, reason, strict=True)
    ]
    assert LOWEST <= held([(m.lower, m.upper) for m in medians], 60) <= HIGHEST


def model_data(hours: np.ndarray, reason: np.ndarray, with_it: np.ndarray) -> ModelData:
    n = len(hours)
    outcome = np.select([reason == CENSORED, reason == 0], [0, 1], 2)
    design = Design(np.array([[0.0], [1.0]]), (Coefficient("x", None, None),))
    return ModelData(
        design,
        with_it.astype(np.int64),
        hours,
        outcome,
        np.ones(n, np.int64),
        np.full(n, ALONE),
        np.zeros(n, np.int64),
    )


def subdistribution_programme(rng: np.random.Generator) -> tuple[np.ndarray, ...]:
    """Draw a programme whose subdistribution hazards of dislodgement are proportional.

    Of catheters with covariate x a share 1 - (1 - p)^exp(bx) come out for it at last, each
    at an hour at which 1 - (1 - p (1 - exp(-rt)))^exp(bx) of that share have: the design of
    Fine and Gray 1999, section 5 (recalled, not retrieved).
    """
    with_it = rng.random(CATHETERS) < 0.5
    ratio, p, rate = np.exp(LOG_RATIO * with_it), 0.3, 0.03
    share = 1 - (1 - p) ** ratio
    of_reason = rng.random(CATHETERS) < share
    drawn = rng.random(CATHETERS) * share
    dislodged = -np.log(1 - (1 - (1 - drawn) ** (1 / ratio)) / p) / rate
    other = rng.exponential(1 / 0.02, CATHETERS)
    out = np.where(of_reason, dislodged, other)
    lost = 160 * rng.random(CATHETERS)
    reason = np.where(of_reason, 0, 1)
    return np.minimum(out, lost), np.where(lost < out, CENSORED, reason), with_it


@pytest.mark.slow
@pytest.mark.parametrize(
    ("fit", "draw", "seed"),
    [
        (cox, lambda rng: programme(rng, LOG_RATIO), 20250102),
        (fine_gray, subdistribution_programme, 20250105),
    ],
    ids=["cox", "fine_gray"],
)
def test_limits_of_the_ratios_hold_the_truth(fit, draw, seed: int) -> None:
    rng = np.random.default_rng(seed)
    fits = [fit(model_data(*draw(rng))) for _ in range(PROGRAMMES)]
    limits = [(found.lower[0], found.upper[0]) for found in fits]
    assert LOWEST <= held(limits, np.exp(LOG_RATIO)) <= HIGHEST
    # No bias worth the name: a fifth of the standard error of one programme.
    mean = np.mean([found.coefficients[0] for found in fits])
    assert mean == pytest.approx(LOG_RATIO, abs=0.2 * np.mean([found.se[0] for found in fits]))


@pytest.mark.slow
@pytest.mark.parametrize("fit", [cox, fine_gray])
def test_two_catheters_of_a_child_that_fare_alike_count_as_one(fit) -> None:
    rng = np.random.default_rng(20250106)
    clustered, alone = [], []
    for _ in range(PROGRAMMES):
        once = programme(rng)
        twice = model_data(*(np.tile(part, 2) for part in once))
        children = np.tile(np.arange(CATHETERS), 2)
        found = fit(replace(twice, child=children))
        clustered.append((found.lower[0], found.upper[0]))
        half = 1.96 * found.model_based_se[0]
        alone.append(tuple(np.exp(found.coefficients[0] + np.array([-half, half]))))
    assert LOWEST <= held(clustered, 1.0) <= HIGHEST
    assert held(alone, 1.0) < 0.88  # 1.96 / sqrt 2 standard errors: 83%


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


@pytest.mark.slow
@pytest.mark.parametrize("variation", [0.7, 1.0])
@pytest.mark.parametrize("children", [20, 60, 300])
def test_limits_of_contact_rates_hold_the_truth_where_children_differ(variation, children):
    """Calls of 500 children, each with a rate of its own; one group's rate among them."""
    rng, calls_a_day, networks = np.random.default_rng(68), 0.68, 1000
    days = rng.gamma(4, 0.6, (networks, 500))
    own = rng.gamma(1 / variation**2, variation**2, days.shape)
    calls = rng.poisson(calls_a_day * own * days)
    common = calls.sum(axis=1, keepdims=True) / days.sum(axis=1, keepdims=True)
    clusters = ((calls - common * days) ** 2).sum(axis=1) / calls.sum(axis=1)
    found = [
        rates(y[:children].sum(), d[:children].sum(), kind="rate", multiplier=1, dispersion=size)
        for y, d, size in zip(calls, days, clusters, strict=True)
    ]
    share = held([(one.lower, one.upper) for one in found], calls_a_day)
    assert LOWEST <= share <= HIGHEST
