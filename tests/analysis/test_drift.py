"""Changes judged against drift: how often one without effect is told, and a halving found."""

import numpy as np
import pytest
from scipy import special, stats

from pipeline.analysis.change.drift import drifting_difference
from tests.sizes import part

BEFORE, AFTER, PERSISTENCE = 24, 12, 0.3
HALVED = np.log(0.06 / 0.94) - np.log(0.12 / 0.88)


def drifting(rng, sites, spread):
    """Return the level of each site and month on the logit: about 12%, a season, and drift."""
    quarters = (BEFORE + AFTER + 12) // 3
    drift = rng.normal(size=(sites, quarters))
    for q in range(1, quarters):
        fresh = np.sqrt(1 - PERSISTENCE**2)
        drift[:, q] = PERSISTENCE * drift[:, q - 1] + fresh * drift[:, q]
    months = np.arange(3 * quarters)
    season = 0.15 * np.sin(2 * np.pi * months / 12)
    own = special.logit(0.12) + rng.normal(0, 0.3, (sites, 1))
    return own + season + np.repeat(spread * drift, 3, axis=1)


def judged(rng, *, sites, changed, spread, effect=0.0):
    """Judge a change that began after the worst quarter at its sites in two years."""
    level = drifting(rng, sites, spread)
    n = rng.poisson(rng.uniform(14, 56, (sites, 1)) * np.ones_like(level))
    y = rng.binomial(n, special.expit(level))
    own = np.arange(sites) < changed
    starts = range(15, level.shape[1] - AFTER + 1, 3)
    first = max(starts, key=lambda m: y[own, m - 3 : m].sum() / n[own, m - 3 : m].sum())
    since = level[:, first:] + effect * own[:, None]
    y[:, first:] = rng.binomial(n[:, first:], special.expit(since))
    seen = slice(max(0, first - BEFORE), first + AFTER)
    found = drifting_difference(
        y[:, seen].astype(float), n[:, seen].astype(float),
        first=first - seen.start, changed=own, kind="proportion",
    ).effect  # fmt: skip
    return -1 if found.upper < 1 else int(found.lower > 1)


@pytest.mark.slow
@pytest.mark.parametrize("spread", [0.0, 0.2, 0.3])
@pytest.mark.parametrize(("sites", "changed"), [(5, 3), (12, 6), (3, 3)])
def test_a_change_without_effect_is_told_in_at_most_six_networks_of_a_hundred(
    sites, changed, spread
):
    rng = np.random.default_rng(26)
    networks = part(250)
    told = [judged(rng, sites=sites, changed=changed, spread=spread) != 0 for _ in range(networks)]
    assert sum(told) <= stats.binom.ppf(0.999, networks, 0.06)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("sites", "changed", "spread", "share"), [(5, 3, 0.0, 0.8), (5, 3, 0.3, 0.5), (12, 6, 0.3, 0.9)]
)
def test_a_halving_is_found(sites, changed, spread, share):
    rng = np.random.default_rng(27)
    told = [
        judged(rng, sites=sites, changed=changed, spread=spread, effect=HALVED) for _ in range(100)
    ]
    assert told.count(-1) >= share * 100
    assert told.count(1) == 0


def test_more_months_or_sites_are_named_where_a_halving_could_not_be_told():
    rng = np.random.default_rng(3)
    n = np.full((5, 36), 12.0)
    y = rng.binomial(12, 0.1, (5, 36)).astype(float)
    found = drifting_difference(y, n, first=24, changed=np.arange(5) < 1, kind="proportion")
    assert found.effect.lower < 1 < found.effect.upper
    assert found.months_needed is None or found.months_needed > 12
    assert found.sites_needed > 5


def test_no_event_on_one_side_cannot_be_judged():
    y, n = np.zeros((2, 24)), np.full((2, 24), 9.0)
    y[:, :12] = 1
    assert drifting_difference(y, n, first=12, changed=np.array([True, False]), kind="rate") is None
