"""False discovery control against print and against the definition."""

import numpy as np
import pytest

from pipeline.analysis.rates.multiplicity import benjamini_hochberg, called

# Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300, section 3: the fifteen
# p-values of a thrombolysis trial (recalled, not retrieved); at 5% the first four
# are called, where the Bonferroni method calls three.
PUBLISHED = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240,
    0.4262, 0.5719, 0.6528, 0.7590, 1.000,
]  # fmt: skip


def test_the_first_four_of_the_published_example_are_called():
    assert called(PUBLISHED).tolist() == [True] * 4 + [False] * 11


def test_adjusted_values_equal_those_of_scipy_and_statsmodels():
    """scipy.stats.false_discovery_control; statsmodels multipletests fdr_bh."""
    from scipy import stats
    from statsmodels.stats.multitest import multipletests

    shuffled = np.random.default_rng(4).permutation(PUBLISHED)
    adjusted = benjamini_hochberg(shuffled)
    np.testing.assert_allclose(adjusted, stats.false_discovery_control(shuffled), atol=1e-15)
    np.testing.assert_allclose(adjusted, multipletests(shuffled, method="fdr_bh")[1], atol=1e-15)


def test_a_comparison_not_made_does_not_count():
    with_gap = benjamini_hochberg([[0.01, np.nan], [0.04, 0.5]])
    assert np.isnan(with_gap[0, 1])
    assert with_gap[0, 0] == pytest.approx(0.03)
    assert called([0.01, np.nan]).tolist() == [True, False]
    assert benjamini_hochberg([]).size == 0


def test_what_is_no_probability_is_refused():
    with pytest.raises(ValueError, match="p-value"):
        benjamini_hochberg([0.2, 1.2])
