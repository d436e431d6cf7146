"""How often groups that do not differ are called: alone, in a table, beside one that does."""

import numpy as np
import pytest
from scipy import special, stats

from pipeline.analysis.comparison.case_mix import expect
from pipeline.analysis.comparison.compare import compare, with_calls
from pipeline.analysis.comparison.ordinary_groups import (
    SPREADS,
    spread_likelihood,
    spread_prior,
)
from pipeline.analysis.comparison.pattern_counts import PatternCounts, Sums
from pipeline.analysis.rates import intervals
from pipeline.analysis.rates.multiplicity import called_in_family, called_together
from tests.analysis.networks import ALIKE, SITES, episodes, reduce, with_values
from tests.sizes import part

FEWEST = 11  # episodes with an event, for a group to be set aside


def most_allowed(networks):
    """The 99.9% point of calls among so many networks at 5%."""
    return stats.binom.ppf(0.999, networks, 0.05)


def p_values(frame, kind):
    counts = reduce(frame, ["site", "age_years"])
    model = expect(
        counts, by="site", terms=("age_years",), kind=kind, fewest_aside=FEWEST, prior=ALIKE
    )
    return model.judged.p_value


def quiet_measures(rng):
    """Four measures of one network where no site differs, events clustered in one."""
    frame = episodes(rng, rng.integers(20, 400, rng.integers(3, 7)))
    n, older = len(frame), frame["older"].to_numpy()
    days = np.round(rng.uniform(0.5, 3, n), 2)
    values = [
        ("proportion", rng.binomial(1, 0.12 - 0.02 * older), np.ones(n)),
        ("proportion", rng.binomial(3, rng.beta(8, 2, n)), np.full(n, 3.0)),
        ("rate", rng.poisson(0.02 * days * rng.gamma(0.5, 2, n)), days),
        ("rate", rng.poisson(0.002 * days), days),
    ]
    return [(kind, with_values(frame, y, d)) for kind, y, d in values]


@pytest.mark.slow
def test_with_no_true_difference_any_site_is_called_in_at_most_one_network_in_twenty():
    """One measure alone (each in turn), and four measures read together."""
    networks = part(250)
    rng = np.random.default_rng(250)
    alone = together = 0
    for turn in range(networks):
        table = [p_values(frame, kind) for kind, frame in quiet_measures(rng)]
        alone += called_together([table[turn % 4]])[0].any()
        together += any(family.any() for family in called_together(table))
    assert alone <= most_allowed(networks)
    assert together <= most_allowed(networks)


def one_bad_site(rng, kind):
    """One site has two to three times the events of the others; which, and how large, varies."""
    sizes = rng.integers(150, 900, rng.integers(3, 9))
    frame = episodes(rng, sizes)
    bad = SITES[rng.integers(len(sizes))]
    ratio = np.where(frame["site"] == bad, rng.uniform(2, 3), 1.0)
    rate = (0.12 - 0.02 * frame["older"].to_numpy()) * ratio
    days = np.round(rng.uniform(0.5, 3, len(frame)), 2)
    if kind == "proportion":
        return bad, with_values(frame, rng.binomial(1, rate), np.ones(len(frame)))
    return bad, with_values(frame, rng.poisson(rate * days), days)


@pytest.mark.parametrize("kind", ["proportion", "rate"])
def test_a_bad_site_is_called_and_makes_no_other_look_good(kind):
    rng = np.random.default_rng(29)
    found = innocent = 0
    networks = 100
    for _ in range(networks):
        bad, frame = one_bad_site(rng, kind)
        sites = sorted(frame["site"].unique())
        verdict = dict(zip(sites, called_in_family(p_values(frame, kind)), strict=True))
        found += verdict.pop(bad)
        innocent += any(verdict.values())
    assert found >= 0.9 * networks
    assert innocent <= most_allowed(networks)


def test_of_two_sites_neither_can_be_told_to_be_the_odd_one():
    rng = np.random.default_rng(3)
    frame = episodes(rng, [300, 300])
    p = np.where(frame["site"] == "avocet", 0.3, 0.1)
    counts = reduce(with_values(frame, rng.binomial(1, p), np.ones(600)), ["site"])
    assert not expect(counts, by="site", terms=(), kind="proportion").is_aside.any()


def test_two_bad_sites_of_six_are_both_set_aside():
    rng = np.random.default_rng(4)
    frame = episodes(rng, [300] * 6)
    p = np.where(frame["site"].is_in(["curlew", "godwit"]).to_numpy(), 0.3, 0.1)
    counts = reduce(with_values(frame, rng.binomial(1, p), np.ones(1800)), ["site"])
    model = expect(counts, by="site", terms=(), kind="proportion", prior=ALIKE)
    assert [g for g, a in zip(model.groups, model.is_aside, strict=True) if a] == [
        "curlew", "godwit",
    ]  # fmt: skip
    rates = counts.totals("site").numerator / counts.totals("site").denominator
    # Each other site is expected to have what the other three have.
    others = [0, 2, 4, 5]
    for k in others:
        rest = rates[[i for i in others if i != k]].mean()
        assert model.expected[k] / 300 == pytest.approx(rest, rel=1e-6)
    assert model.expected[1] / 300 == pytest.approx(rates[others].mean(), rel=1e-6)


def test_a_tiny_site_does_not_settle_which_of_two_large_ones_is_odd():
    rng = np.random.default_rng(5)
    frame = episodes(rng, [800, 800, 30])
    p = np.where(frame["site"] == "avocet", 0.2, 0.1)
    counts = reduce(with_values(frame, rng.binomial(1, p), np.ones(1630)), ["site"])
    assert not expect(counts, by="site", terms=(), kind="proportion").is_aside.any()


def test_a_site_of_few_events_is_not_set_aside():
    """What it has could be worked out from what is expected of the others."""
    y = np.zeros(300)
    y[:10] = 1
    counts = reduce(
        with_values(episodes(np.random.default_rng(2), [100] * 3), y, np.ones(300)), ["site"]
    )
    for fewest, is_aside in ((10, True), (11, False)):
        model = expect(counts, by="site", terms=(), kind="proportion", fewest_aside=fewest)
        assert model.is_aside.tolist() == [is_aside, False, False]


def test_step_down_test_of_four_p_values():
    """Worked by hand: 0.05 over 4, 3, 2, 1; the third stops what follows."""
    got = called_in_family([0.04, 0.012, np.nan, 0.016, 0.026])
    assert got.tolist() == [False, True, False, True, False]
    assert called_together([]) == []


LEVELS = (0.062, 0.02, 0.12, 0.09, 0.3, 0.05, 0.03, 0.88, 0.94, 0.15, 0.01, 0.2)
VOLUMES = (1850, 1470, 1200, 890, 450)  # as in the invented network over three years


def network(rng, groups, spread, leaking=1.0):
    """Twelve measures of one network, as `compare_groups` judges them: alone, and together.

    Sites differ by a spread on the logit; the third has `leaking` times the first measure's.
    """
    n = np.resize(VOLUMES, groups).astype(float)
    names = tuple(f"site {k:02}" for k in range(groups))
    measures = []
    for place, level in enumerate(LEVELS):
        p = special.expit(special.logit(level) + rng.normal(0, spread, groups))
        p[2] *= leaking if place == 0 else 1.0
        y, none = rng.binomial(n.astype(int), p).astype(float), np.zeros(groups)
        sums = Sums(n, y, n, y, none, none, y, n, y, y, n)
        measures.append(PatternCounts({"site": names}, {"site": np.arange(groups)}, sums))
    told = [spread_likelihood(counts, "site", "proportion") for counts in measures]
    found = [
        compare(
            counts, by="site", kind="proportion", fewest_aside=FEWEST,
            prior=spread_prior(told[:place] + told[place + 1 :]),
        )
        for place, counts in enumerate(measures)
    ]  # fmt: skip
    leads = [place < 4 for place in range(len(LEVELS))]
    return [with_calls([one], 1.25)[0] for one in found], with_calls(found, 1.25, leads)


def calls(comparisons):
    return np.array([[row.called for row in one.rows] for one in comparisons])


@pytest.mark.slow
@pytest.mark.parametrize("spread", [0.0, 0.15, 0.3])
@pytest.mark.parametrize(("groups", "networks"), [(5, 24), (30, 6)])
def test_ordinary_sites_that_differ_a_little_are_called_in_one_network_in_twenty(
    groups, networks, spread
):
    rng = np.random.default_rng(groups)
    alone = together = 0
    for _ in range(networks):
        one, all_read = network(rng, groups, spread)
        alone += calls(one).any(axis=1).sum()
        together += calls(all_read).any()
        for row in (row for comparison in one for row in comparison.rows if row.called):
            assert not row.ratio_lower < 1 < row.ratio_upper
    assert alone <= most_allowed(networks * len(LEVELS))
    assert together <= most_allowed(networks)


@pytest.mark.slow
@pytest.mark.parametrize(("groups", "networks"), [(5, 24), (30, 6)])
def test_the_site_that_leaks_is_called_and_no_other(groups, networks):
    """1.85 times the others' rate: what twice the hazard comes to in the invented network."""
    rng = np.random.default_rng(groups)
    found = innocent = 0
    for _ in range(networks):
        first = calls(network(rng, groups, 0.0, leaking=1.85)[0])[0]
        found += first[2]
        innocent += np.delete(first, 2).any()
    assert found >= 0.9 * networks
    assert innocent <= most_allowed(networks)


@pytest.mark.parametrize(("kind", "level"), [("rate", 0.05), ("proportion", 0.3)])
def test_without_any_spread_limits_are_the_exact_ones(kind, level):
    """Against a reference of a million, in which groups do not differ: mid-P limits of a count."""
    n = np.array([80.0, 1e6, 1e6, 1e6])
    y, none = np.round(n * level), np.zeros(4)
    y[0] = 9.0 if kind == "rate" else 35.0
    sums = Sums(n, y, n, y, none, none, y, n, y, y, n)
    counts = PatternCounts({"site": tuple("abcd")}, {"site": np.arange(4)}, sums)
    nothing = np.eye(len(SPREADS))[0]
    found = expect(counts, by="site", terms=(), kind=kind, prior=nothing).judged
    exact = (
        intervals.poisson_mid_p(9, 80 * level)
        if kind == "rate"
        else intervals.binomial_mid_p(35, 80)
    )
    scale = 1.0 if kind == "rate" else level
    assert found.lower[0] * scale == pytest.approx(float(exact.lower), rel=0.01)
    assert found.upper[0] * scale == pytest.approx(float(exact.upper), rel=0.01)
