"""Multiple imputation of numerators that could not be ascertained, on counts by pattern.

Beside complete cases: what the figures would be if the missing were missing at random
given group and case mix, and how far from that they would have to be to change a finding.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.analysis.comparison.case_mix import expect
from pipeline.analysis.comparison.completing import completed, with_terms
from pipeline.analysis.comparison.count_models import fit_counts
from pipeline.analysis.comparison.design import coded
from pipeline.analysis.comparison.glm import Design, mean_and_slope
from pipeline.analysis.comparison.pattern_counts import Floats, PatternCounts, added
from pipeline.analysis.comparison.pooling import IMPUTATIONS, nearest_turn, pool, refuse_few
from pipeline.analysis.rates.distributions import binomial_quantile, poisson_quantile
from pipeline.analysis.rates.rates import Kind

# Odds or rates of the missing, over those of the known of the same case mix, that are tried.
FARTHEST = 20.0
DEPARTURES = np.log(np.geomspace(1.001, FARTHEST, 3000)).tolist()  # 1 part in 1,000 apart
Z = 1.959963984540054  # of 95% limits
HALF = 0.5  # stands for no event where a logarithm is needed


def draw_means(
    design: Design, events: Floats, units: Floats, kind: Kind, *, rng: np.random.Generator, m: int
) -> Floats:
    """Draw the linear predictor of each pattern, as uncertain as the fitted model is.

    Parameters
    ----------
    design : float array or sparse csr_array, shape (patterns, coefficients)
        First column the intercept.
    events, units : float array, shape (patterns,)
        Events, and trials or exposure, of those that are known.

    Returns
    -------
    float array, shape (m, patterns)
        On the logit or log scale.
    """
    fit = fit_counts(design, events, units, kind)
    draws = rng.multivariate_normal(fit.coefficients, fit.covariance, size=m, method="eigh")
    found: Floats = np.stack([design @ beta for beta in draws])
    return found


def events_of(eta: Floats, units: Floats, luck: Floats, kind: Kind) -> Floats:
    """Return imputed events of units, given how lucky each is (from 0 to 1)."""
    mean, _ = mean_and_slope(eta, kind)
    if kind == "proportion":
        return binomial_quantile(luck, np.round(units), mean)
    return poisson_quantile(luck, units * mean)


@dataclass(frozen=True)
class ImputedGroup:
    """One group's observed to expected ratio, of complete cases and imputed.

    Attributes
    ----------
    group : str
        Its label.
    known, missing : float
        Episodes whose numerator is known, and is not.
    complete, complete_lower, complete_upper : float
        Ratio of complete cases with 95% limits.
    ratio, lower, upper : float
        Ratio with the missing imputed, and 95% limits.
    missing_information : float
        Share of the information that is missing.
    turning_point : float
        Smallest departure from missing at random that would change whether the limits
        leave out 1: the odds (or rate) of an event among the group's missing over those
        of its known of the same case mix; NaN where none up to twentyfold does.
    """

    group: str
    known: float
    missing: float
    complete: float
    complete_lower: float
    complete_upper: float
    ratio: float
    lower: float
    upper: float
    missing_information: float
    turning_point: float


def imputed_ratios(
    counts: PatternCounts,
    *,
    by: str,
    terms: Sequence[str],
    kind: Kind,
    m: int = IMPUTATIONS,
    seed: int = 1,
) -> tuple[ImputedGroup, ...]:
    """Compare groups with missing numerators and case-mix terms imputed.

    Case-mix terms that were not recorded are drawn from episodes alike in group, other
    terms and outcome; numerators from a model of group and case mix whose coefficients
    are drawn anew for each imputation.

    Parameters
    ----------
    counts : PatternCounts
        With `by` and `terms` among its factors.
    by, terms, kind
        As for :func:`pipeline.analysis.comparison.case_mix.expect`.
    m : int
        Imputations, at least 20.
    seed : int
        Of the random draws.

    Raises
    ------
    ValueError
        If `m` is below 20, or as `expect` does.
    """
    refuse_few(m)
    rng = np.random.default_rng(seed)
    made = [_Imputation.draw(counts, by, terms, kind, rng) for _ in range(m)]
    plain = _log_ratios(counts, by, terms, kind)
    whole = pool(*(np.stack(parts) for parts in zip(*[i.log_ratios() for i in made], strict=True)))
    totals = counts.totals(by)
    complete = _limits(plain[0], Z * np.sqrt(plain[1]))
    imputed = np.exp([whole.estimate, whole.lower, whole.upper])
    return tuple(
        ImputedGroup(
            group=group,
            known=float(totals.episodes[i]),
            missing=float(totals.missing_episodes[i]),
            complete=float(complete[0, i]),
            complete_lower=float(complete[1, i]),
            complete_upper=float(complete[2, i]),
            ratio=float(imputed[0, i]),
            lower=float(imputed[1, i]),
            upper=float(imputed[2, i]),
            missing_information=float(whole.missing_information[i]),
            turning_point=_turning_point(made, i, totals.missing_episodes[i]),
        )
        for i, group in enumerate(counts.levels[by])
    )


def _limits(log_ratio: Floats, reach: Floats) -> Floats:
    found: Floats = np.exp([log_ratio, log_ratio - reach, log_ratio + reach])
    return found


@dataclass(frozen=True)
class _Imputation:
    """One completed set of counts, and what its numerators were drawn from."""

    counts: PatternCounts  # case-mix terms completed, numerators not yet
    by: str
    terms: tuple[str, ...]
    kind: Kind
    eta: Floats  # of each row
    luck: Floats
    expected: Floats
    worth: Floats
    dispersion: float

    @classmethod
    def draw(
        cls,
        counts: PatternCounts,
        by: str,
        terms: Sequence[str],
        kind: Kind,
        rng: np.random.Generator,
    ) -> _Imputation:
        counts = with_terms(counts, terms, rng)
        patterns = coded(counts, [by, *terms])
        size = patterns.design.shape[0]
        events, units = (
            added(values, patterns.pattern, size)
            for values in (counts.sums.numerator, counts.sums.denominator)
        )
        eta = draw_means(patterns.design, events, units, kind, rng=rng, m=1)[0][patterns.pattern]
        luck = rng.random(eta.size)
        drawn = events_of(eta, counts.sums.missing_denominator, luck, kind)
        model = expect(completed(counts, drawn), by=by, terms=terms, kind=kind)
        return cls(
            counts, by, tuple(terms), kind, eta, luck, model.expected, model.worth, model.dispersion
        )

    def log_ratios(self, shift: float = 0.0, group: int | None = None) -> tuple[Floats, Floats]:
        """Return log ratios and variances, the missing shifted on the model's scale.

        All groups have one each; with `group`, that one alone. A group's expected number
        comes from the other groups, so it stays.
        """
        code, sums = self.counts.codes[self.by], self.counts.sums
        rows = np.arange(code.size) if group is None else np.flatnonzero(code == group)
        gone = sums.missing_denominator[rows]
        drawn = np.zeros(rows.size)
        some = gone > 0
        at = rows[some]
        drawn[some] = events_of(self.eta[at] + shift, gone[some], self.luck[at], self.kind)
        size = len(self.counts.levels[self.by])
        place = slice(None) if group is None else slice(group, group + 1)
        observed = added(sums.numerator[rows] + drawn, code[rows], size)[place]
        units = added(sums.denominator[rows] + gone, code[rows], size)[place]
        return _log_ratio(
            observed,
            self.expected[place],
            units,
            self.worth[place],
            dispersion=self.dispersion,
            kind=self.kind,
        )


def _log_ratios(
    counts: PatternCounts, by: str, terms: Sequence[str], kind: Kind
) -> tuple[Floats, Floats]:
    model = expect(counts, by=by, terms=terms, kind=kind)
    return _log_ratio(
        model.observed,
        model.expected,
        model.denominator,
        model.worth,
        dispersion=model.dispersion,
        kind=kind,
    )


def _log_ratio(
    observed: Floats,
    expected: Floats,
    units: Floats,
    worth: Floats,
    *,
    dispersion: float,
    kind: Kind,
) -> tuple[Floats, Floats]:
    """Return the log of observed to expected and its variance, by the delta method."""
    seen = np.maximum(observed, HALF)
    rest = 1 - np.minimum(seen / units, 1.0) if kind == "proportion" else 1.0
    with np.errstate(divide="ignore"):
        return np.log(seen / expected), dispersion * (rest / seen + 1 / worth)


def _turning_point(made: Sequence[_Imputation], place: int, missing: float) -> float:
    """Return the departure nearest to none at which the limits say something else."""
    if not missing:
        return float("nan")

    def says(shift: float) -> int:
        parts = zip(*[one.log_ratios(shift, place) for one in made], strict=True)
        return int(pool(*(np.stack(part) for part in parts)).side[0])

    return float(np.exp(nearest_turn(says, DEPARTURES)))
