"""Funnel limits and over-dispersion against computed reference figures."""

import csv
from pathlib import Path

import numpy as np
import pytest

from pipeline.analysis.comparison.funnel import (
    exact_limit,
    funnel,
    group_dispersion,
    standardised_rates,
)

DATA = Path(__file__).parents[1] / "reference" / "data"


def rows(name):
    with (DATA / name).open() as file:
        return list(csv.DictReader(file))


HOSPITALS = rows("surgical_funnel.csv")
N = np.array([int(r["n"]) for r in HOSPITALS])
DEATHS = np.array([int(r["deaths"]) for r in HOSPITALS])
THETA = 208 / 2814


@pytest.mark.parametrize(
    ("n", "expected"),
    [
        (47, (-0.0016304577, 0.1464285062, -0.0204907502, 0.2057449027)),
        (148, (0.0308995912, 0.1152195666, 0.0136173573, 0.1449347581)),
        (810, (0.0557786132, 0.0918273964, 0.0464163681, 0.1031858991)),
    ],
)
def test_binomial_limits_at_a_volume(n, expected):
    """Formula of Spiegelhalter 2005, computed independently with scipy 1.17.1 and R 4.2.2."""
    got = [exact_limit(n, THETA, tail, "proportion") for tail in (0.025, 0.975, 0.001, 0.999)]
    assert got == pytest.approx(expected, abs=1e-8)


def test_twelve_hospitals_as_printed():
    """Data: BUGS Examples vol. 1, "Surgical: institutional ranking"; limits computed.

    Exact limits, before any widening: hospital H outside 99.8%; B, E and K outside 95%.
    """
    for column, tail in (("lower95", 0.025), ("upper95", 0.975), ("lower99.8", 0.001)):
        got = np.clip(exact_limit(N, THETA, tail, "proportion"), 0, 1)
        np.testing.assert_allclose(got, [float(r[column]) for r in HOSPITALS], atol=6e-7)
    rate = DEATHS / N
    outer = rate > exact_limit(N, THETA, 0.999, "proportion")
    assert [r["hospital"] for r, out in zip(HOSPITALS, outer, strict=True) if out] == ["H"]


def test_poisson_limits_of_observed_to_expected():
    """The same interpolation with a Poisson count; computed with scipy 1.17.1."""
    table = rows("poisson_funnel_limits.csv")
    expected = np.array([float(r["E"]) for r in table])
    for column, tail in (("2.5%", 0.025), ("97.5%", 0.975), ("0.1%", 0.001), ("99.9%", 0.999)):
        got = exact_limit(expected, 1.0, tail, "rate")
        np.testing.assert_allclose(got, [float(r[f"OE_{column}"]) for r in table], atol=6e-9)


def test_over_dispersion_of_the_twelve_hospitals():
    """Formulas recalled; figures computed independently (R 4.2.2 and scipy 1.17.1)."""
    z, s = standardised_rates(DEATHS, N, THETA, "proportion")
    expected_z = [
        -1.936838, 2.218219, -0.278905, -1.862962, -1.998786, -0.406118, -0.609374, 3.938165,
        -0.345523, 0.322157, 2.407336, -0.525730,
    ]  # fmt: skip
    np.testing.assert_allclose(z, expected_z, atol=6e-7)
    plain = group_dispersion(z, s, winsorised=0)
    assert plain.phi == pytest.approx(3.2129698769, abs=1e-8)
    assert plain.p_value == pytest.approx(0.000124521, abs=1e-8)
    assert plain.tau_squared == pytest.approx(0.00077763, abs=1e-10)
    pulled_in = group_dispersion(z, s)
    assert pulled_in.phi == pytest.approx(2.3632870357, abs=1e-8)
    assert pulled_in.tau_squared == pytest.approx(0.0004898897, abs=1e-10)


def test_widened_limits_use_the_winsorised_factor():
    got = funnel([r["hospital"] for r in HOSPITALS], DEATHS, N, kind="proportion", multiplier=1)
    assert got.is_widened
    s = np.sqrt(THETA * (1 - THETA) / N)
    widened = THETA + 1.959963984540054 * np.sqrt(2.3632870357) * s
    np.testing.assert_allclose(got.limits.upper_95, widened, atol=1e-9)
    assert dict(zip(got.groups, got.status, strict=True))["H"] == "outside 95%"
    assert got.status.count("inside") == 11


def test_multiplicative_limits_at_a_volume():
    """Upper 95% limits with phi 3.2129698769: 0.1494715042 at 148, 0.1062125019 at 810."""
    names = [r["hospital"] for r in HOSPITALS]
    got = funnel(names, DEATHS, N, kind="proportion", multiplier=1, winsorised=0)
    upper = dict(zip(N.tolist(), got.limits.upper_95.tolist(), strict=True))
    assert upper[148] == pytest.approx(0.1494715042, abs=1e-8)
    assert upper[810] == pytest.approx(0.1062125019, abs=1e-8)


def test_widened_limits_are_never_inside_the_exact_ones():
    """A few events a group: the normal form alone would be too narrow above."""
    got = funnel(list("abcdef"), [0, 1, 0, 4, 2, 0], [90.0] * 6, kind="rate", multiplier=1000)
    assert got.is_widened
    exact = exact_limit(np.full(6, 90.0), 7 / 540, 0.999, "rate") * 1000
    assert np.all(got.limits.upper_998 >= exact)


def test_no_events_anywhere_put_everyone_inside():
    got = funnel(["a", "b"], [0, 0], [10, 30], kind="proportion")
    assert got.centre == 0
    assert got.status == ("inside", "inside")
    assert got.limits.upper_998.tolist() == [0, 0]


def test_limits_stay_between_none_and_all():
    got = funnel(["a", "b"], [9, 29], [10, 30], kind="proportion")
    assert np.all(got.curve.upper_998 <= 100)
    assert np.all(got.curve.lower_998 >= 0)


def test_a_group_without_volume_is_refused():
    with pytest.raises(ValueError, match="above zero"):
        funnel(["a", "b"], [0, 0], [0, 30], kind="proportion")
