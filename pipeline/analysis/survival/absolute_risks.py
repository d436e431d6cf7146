"""Absolute risks for typical children from a fitted model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.analysis.survival import curve_limits
from pipeline.analysis.survival.event_counts import Floats, Ints
from pipeline.analysis.survival.model_data import ModelFit
from pipeline.analysis.survival.terms import Coding, design

DRAWS = 500  # of the coefficients, for the limits of a risk from two hazards
SEED = 20250101  # fixed, so that the same data give the same limits
QUARTERS = (0.25, 0.5, 0.75)


@dataclass(frozen=True)
class TypicalChild:
    """Usual values of every term but one; `value` is that one's, a code or a number."""

    term: str
    value: str
    values: dict[str, object]


@dataclass(frozen=True)
class AbsoluteRisk:
    """Chance that a typical child's catheter came out for the reason by `hour`."""

    child: TypicalChild
    hour: float
    risk: float
    lower: float
    upper: float


def typical_children(patterns: pl.DataFrame, codings: Sequence[Coding]) -> tuple[TypicalChild, ...]:
    """Vary one term at a time about the usual child.

    The usual child has the reference level of each code and the median of each
    number; a number varies over its quartiles, a code over its levels.
    """
    usual: dict[str, object] = {}
    varied: list[tuple[str, list[object]]] = []
    for coding in codings:
        if coding.levels:
            usual[coding.term] = coding.levels[0]
            varied.append((coding.term, [coding.levels[0], *coding.own_columns]))
        else:
            low, middle, high = (
                _quantile(patterns[coding.term], patterns["n"], q) for q in QUARTERS
            )
            usual[coding.term] = middle
            varied.append((coding.term, list(dict.fromkeys([low, high]))))
    return tuple(
        TypicalChild(term, _written(value), {**usual, term: value})
        for term, values in varied
        for value in values
    )


def absolute_risks(
    children: Sequence[TypicalChild],
    codings: Sequence[Coding],
    fit: ModelFit,
    others: ModelFit | None = None,
    *,
    hour: float = 72.0,
) -> tuple[AbsoluteRisk, ...]:
    r"""Risk of removal for the reason by `hour` for each child.

    Fine-Gray: :math:`1 - \exp(-\Lambda_0(t) e^{x\beta})` with limits on the log of the
    cumulative hazard. Cox: the reason's hazard and that of all other reasons
    (`others`, the same terms) together, hour by hour, so that risks and the
    proportion still in place add to one; limits from draws of both sets of
    coefficients and of both baselines' height. Over strata, the mean by their share of
    the episodes.

    Parameters
    ----------
    children : sequence of TypicalChild
    codings : sequence of Coding
        As the model was fitted.
    fit, others : ModelFit
        `others` is needed for a Cox fit.

    Raises
    ------
    ValueError
        If a Cox fit comes without `others`.
    """
    matrix = child_design(children, codings)
    if fit.model == "finegray":
        triples = _from_subdistribution(fit, matrix, hour)
    elif others is not None:
        triples = _from_hazards(fit, others, matrix, hour)
    else:
        raise ValueError("risks from a Cox fit need the fit of the other reasons")
    return tuple(
        AbsoluteRisk(child, hour, *(float(part[i]) for part in triples))
        for i, child in enumerate(children)
    )


def child_design(children: Sequence[TypicalChild], codings: Sequence[Coding]) -> Floats:
    """Return the design of typical children, one row each."""
    frame = pl.DataFrame(
        {
            coding.term: pl.Series(
                [child.values[coding.term] for child in children],
                dtype=pl.String if coding.levels else pl.Float64,
            )
            for coding in codings
        }
    )
    return design(frame, codings).matrix


def _log_hazard_se(fit: ModelFit, matrix: Floats, until: Ints) -> Floats:
    """Return the standard error of the log cumulative hazard of each row."""
    away = matrix - fit.baseline.centre
    of_coefficients = np.einsum("ij,jk,ik->i", away, fit.covariance, away)
    return np.sqrt(of_coefficients + _height_variance(fit, until))


def _height_variance(fit: ModelFit, until: Ints) -> float:
    total = fit.baseline.increments[until].sum()
    return float(fit.baseline.variances[until].sum() / total**2) if total > 0 else 0.0


def _from_subdistribution(
    fit: ModelFit, matrix: Floats, hour: float
) -> tuple[Floats, Floats, Floats]:
    (until,) = fit.baseline.strata(hour)
    hazard = fit.baseline.increments[until].sum() * fit.relative_hazard(matrix)
    spread = np.exp(curve_limits.Z * _log_hazard_se(fit, matrix, until))
    return -np.expm1(-hazard), -np.expm1(-hazard / spread), -np.expm1(-hazard * spread)


def _from_hazards(
    fit: ModelFit, others: ModelFit, matrix: Floats, hour: float
) -> tuple[Floats, Floats, Floats]:
    pair, strata = (fit, others), fit.baseline.strata(hour)
    generator = np.random.default_rng(SEED)
    drawn = [_drawn_logs(generator, model, matrix, strata) for model in pair]
    estimate, risks = np.zeros(len(matrix)), np.zeros((DRAWS, len(matrix)))
    for s, (until, share) in enumerate(zip(strata, fit.baseline.shares, strict=True)):
        own_steps, other_steps = (model.baseline.increments[until] for model in pair)
        own, other = (model.relative_hazard(matrix) for model in pair)
        estimate += share * cumulative_risk(own_steps, other_steps, own, other)
        for i in range(DRAWS):
            own, other = (np.exp(logs[i] + height[i, s]) for logs, height in drawn)
            risks[i] += share * cumulative_risk(own_steps, other_steps, own, other)
    lower, upper = np.quantile(risks, curve_limits.TAILS, axis=0)
    return estimate, lower, upper


def _drawn_logs(
    generator: np.random.Generator, fit: ModelFit, matrix: Floats, strata: Sequence[Ints]
) -> tuple[Floats, Floats]:
    """Draw log relative hazards, (DRAWS, rows), and log heights of baselines, (DRAWS, strata)."""
    k = len(fit.coefficients)
    drawn = generator.multivariate_normal(fit.coefficients, fit.covariance, DRAWS, method="eigh")
    spread = np.sqrt([_height_variance(fit, until) for until in strata])
    height = generator.normal(0.0, spread, (DRAWS, len(strata)))
    return drawn.reshape(DRAWS, k) @ (matrix - fit.baseline.centre).T, height


def cumulative_risk(own: Floats, other: Floats, r_own: Floats, r_other: Floats) -> Floats:
    """Incidence at the last hour; hazards of shape (m,), relative hazards (rows,)."""
    mine = own[:, None] * r_own
    total = mine + other[:, None] * r_other
    before = np.exp(-(np.cumsum(total, axis=0) - total))
    share = np.divide(mine, total, out=np.zeros_like(mine), where=total > 0)
    risk: Floats = np.sum(before * -np.expm1(-total) * share, axis=0)
    return risk


def _quantile(values: pl.Series, n: pl.Series, q: float) -> float:
    order = np.argsort(values.to_numpy(), kind="stable")
    running = np.cumsum(n.to_numpy()[order])
    return float(values.to_numpy()[order][np.searchsorted(running, q * running[-1])])


def _written(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)
