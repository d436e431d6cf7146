"""Rates with limits against printed figures."""

import numpy as np
import pytest

from pipeline.analysis.rates.rates import ascertainment, rates, sensitivity


def test_complications_per_1000_catheter_days():
    """534 in 46,021: 11.6 (Jumani 2013, JAMA Pediatr 167:429-435); exact limits computed."""
    r = rates(534, 46_021, kind="rate", multiplier=1000)
    assert r.rate == pytest.approx(11.6, abs=0.05)
    assert (r.lower, r.upper) == pytest.approx((10.6399850912, 12.6306184589), abs=1e-6)


def test_device_failures_per_1000_days():
    """40 in 6,993: 5.72 (4.09-7.78), PMC9700519, 2022. The source cuts 7.789 to 7.78."""
    r = rates(40, 6_993, kind="rate", multiplier=1000)
    assert r.rate == pytest.approx(5.72, abs=0.005)
    assert r.lower == pytest.approx(4.09, abs=0.005)
    assert r.upper == pytest.approx(7.7890243049, abs=1e-8)


def test_adverse_events_per_100_catheters():
    """251 of 2,074: 12.1%, Walker 2015, Br J Anaesth 115:457-462; Wilson limits computed."""
    r = rates(251, 2_074, kind="proportion")
    assert r.rate == pytest.approx(12.1, abs=0.05)
    assert (r.lower, r.upper) == pytest.approx((10.77, 13.58), abs=0.006)


def test_no_events_still_have_an_upper_limit():
    r = rates([0, 0], [20, 0], kind="proportion")
    assert r.rate[0] == 0
    assert r.upper[0] == pytest.approx(16.11, abs=0.006)
    assert np.isnan([r.rate[1], r.lower[1], r.upper[1]]).all()


def test_unknown_kind_is_refused():
    with pytest.raises(ValueError, match="kind"):
        rates(1, 2, kind="odds")


def test_ascertainment_is_a_share_of_episodes():
    share = ascertainment([8, 0], [10, 0])
    assert share[0] == 0.8
    assert np.isnan(share[1])


def test_sensitivity_of_a_proportion_counts_every_missing_one_both_ways():
    got = sensitivity(3, 30, 10, 10, kind="proportion")
    assert got.all_without == pytest.approx(7.5)
    assert got.all_with == pytest.approx(32.5)


def test_sensitivity_of_a_rate_adds_one_event_an_episode():
    got = sensitivity(3, 90, 10, 30, kind="rate")
    assert got.all_without == pytest.approx(2.5)
    assert got.all_with == pytest.approx(13 / 120 * 100)
