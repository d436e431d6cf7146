"""How strong an unmeasured cause would have to be to explain a ratio away."""

from __future__ import annotations

import math

from pipeline.analysis.change.effect import ChangeEffect

COMMON = 0.15  # share from which an odds ratio is farther from one than the ratio of risks


def e_value(ratio: float) -> float:
    r"""Return the E-value of a risk or rate ratio, 1 where the ratio is 1.

    An unmeasured cause that is tied to both the change and the outcome by ratios smaller than
    this, beyond what is adjusted for, cannot explain the ratio away: :math:`r + \sqrt{r(r-1)}`,
    with the inverse of a ratio below 1.

    References
    ----------
    VanderWeele TJ, Ding P. Sensitivity analysis in observational research: introducing the
    E-value. Ann Intern Med 2017; 167: 268-274.
    """
    above = max(ratio, 1 / ratio)
    return above + math.sqrt(above * (above - 1))


def change_e_values(effect: ChangeEffect) -> tuple[float, float] | None:
    """Return the E-values of a change's ratio and of the limit nearer to one.

    The limit's is 1 where the limits hold 1. The odds ratio of a common outcome is first
    brought to the scale of risks by its square root, as the paper does. None where nothing
    is judged.
    """
    if effect.against_drift is None:
        return None
    both = effect.against_drift.effect
    nearer = min(max(1.0, both.lower), both.upper)
    scale = math.sqrt if is_common(effect) else float
    return e_value(scale(both.ratio)), e_value(scale(nearer))


def is_common(effect: ChangeEffect) -> bool:
    """Say whether the outcome of a proportion, or its absence, is common before the change."""
    share = float(effect.before.rate) / effect.before.multiplier
    return effect.monthly.kind == "proportion" and min(share, 1 - share) > COMMON
