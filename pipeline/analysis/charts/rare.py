"""Charts for rare events: catheters between events (g) and catheter-days between events (t)."""

from __future__ import annotations

import numpy as np

from pipeline.analysis.charts.limits import TAIL
from pipeline.analysis.charts.results import Floats


def geometric_quantile(q: float, mean: Floats) -> Floats:
    """Return the smallest gap whose geometric distribution function reaches `q`.

    Gaps count catheters strictly between two events, so the smallest is zero
    and the chance of an event is ``1 / (mean + 1)``.
    """
    p = 1 / (np.asarray(mean, dtype=float) + 1)
    with np.errstate(divide="ignore"):
        steps = np.log1p(-q) / np.log1p(-p)
    gap = np.ceil(np.nan_to_num(steps, nan=0.0) - 1e-9) - 1
    return np.where(np.isnan(p), np.nan, np.where(p >= 1, 0.0, np.maximum(gap, 0.0)))


def g_limits(mean: Floats) -> tuple[Floats, Floats, Floats]:
    """Return median, lower and upper limit of catheters between events.

    Geometric probability limits with the tail area of three sigma and a median
    centre, since the mean of so skewed a distribution has two thirds of the
    points below it and three sigma leave 1.8% above it.

    Parameters
    ----------
    mean : float array
        Mean gap in the baseline, counting catheters strictly between events.

    References
    ----------
    Benneyan 2001, Health Care Management Science 4:305-318, for the geometric
    model (recalled, not retrieved).
    """
    return (
        geometric_quantile(0.5, mean),
        geometric_quantile(TAIL, mean),
        geometric_quantile(1 - TAIL, mean),
    )


def t_limits(mean: Floats) -> tuple[Floats, Floats, Floats]:
    r"""Return median, lower and upper limit of catheter-days between events.

    Exponential quantiles: :math:`-\theta \ln(1 - q)` at one half, 0.00135 and
    0.99865.

    Parameters
    ----------
    mean : float array
        Mean catheter-days between events in the baseline.
    """
    mean = np.asarray(mean, dtype=float)
    return np.log(2) * mean, -np.log1p(-TAIL) * mean, -np.log(TAIL) * mean


def gaps(cumulative: Floats, *, between: bool) -> Floats:
    """Return the gap before each event from the running total at each event.

    Parameters
    ----------
    cumulative : float array, shape (k,)
        Catheters (or catheter-days) up to and including each event's catheter,
        in episode order from the start of the records.
    between : bool
        True for the g chart, which does not count the event's own catheter.

    Notes
    -----
    The first gap runs from the start of the records. Without memory, the wait
    from any starting point follows the same distribution as the wait from an
    event, so it is kept.
    """
    steps = np.diff(np.asarray(cumulative, dtype=float), prepend=0.0)
    return steps - 1 if between else steps
