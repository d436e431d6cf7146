"""Centre line and limits of each kind of chart, over a whole stack of series."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pipeline.analysis.charts.laney import moving_range_sigma
from pipeline.analysis.charts.limits import Limits, proportion_limits, rate_limits
from pipeline.analysis.charts.rare import g_limits, t_limits
from pipeline.analysis.charts.results import PROPORTIONS, RATES, Flags, Floats
from pipeline.analysis.charts.stack import Stack


def _no_limits(stack: Stack) -> Limits:
    nothing = np.full(stack.series.size, np.nan)
    return Limits(nothing, nothing.copy(), nothing.copy(), np.zeros(nothing.size, bool))


def pooled(stack: Stack) -> Floats:
    """Return each set's baseline numerators over its baseline denominators."""
    total = stack.total(stack.denominator)
    held = np.where(total > 0, total, np.nan)
    return stack.total(stack.numerator) / held


def standardised(stack: Stack, kind: str) -> Floats:
    """Return each point's distance from the pooled centre in ordinary sigma."""
    if kind not in {"p", "u"}:
        return np.full(stack.series.size, np.nan)
    centre = pooled(stack)[stack.limit_set]
    spread = centre * (1 - centre) if kind == "p" else centre
    with np.errstate(divide="ignore", invalid="ignore"):
        z = (stack.numerator / stack.denominator - centre) / np.sqrt(spread / stack.denominator)
    return np.where(np.isfinite(z), z, np.nan)


def _sigma_z(stack: Stack, kind: str) -> Floats:
    """Return Laney's factor of each limit set, one where it has no spread at all."""
    z = standardised(stack, kind)
    keep = stack.baseline & np.isfinite(z)
    factor = moving_range_sigma(z[keep], stack.limit_set[keep], stack.sets)
    return np.where(np.isfinite(factor), factor, 1.0)


def _count_lines(kind: str) -> Callable[[Stack, Flags], tuple[Floats, Floats, Limits]]:
    """Return the lines of p, u and, with a prime, Laney charts."""
    plain = kind.rstrip("'")
    limits = proportion_limits if kind in PROPORTIONS else rate_limits

    def lines(stack: Stack, mine: Flags) -> tuple[Floats, Floats, Limits]:
        centre = pooled(stack)[stack.limit_set]
        ready = mine & stack.usable & np.isfinite(centre)
        factor = _sigma_z(stack, plain) if kind.endswith("'") else np.ones(stack.sets)
        baseline_n = stack.total(stack.denominator)[stack.limit_set]
        found = _no_limits(stack)
        part = limits(
            stack.denominator[ready],
            centre[ready],
            baseline_n[ready],
            factor[stack.limit_set][ready],
        )
        for name in ("lower", "upper", "sigma", "exact"):
            getattr(found, name)[ready] = getattr(part, name)
        return stack.numerator / stack.denominator, centre, found

    return lines


def _run_lines(stack: Stack, mine: Flags) -> tuple[Floats, Floats, Limits]:
    """Return the median of each limit set's complete points, and no limits."""
    value = stack.numerator / stack.denominator
    centre = np.full(stack.sets, np.nan)
    chosen = mine & stack.baseline
    for group in np.unique(stack.limit_set[chosen]):
        centre[group] = np.median(value[chosen & (stack.limit_set == group)])
    return value, centre[stack.limit_set], _no_limits(stack)


def _gap_lines(kind: str) -> Callable[[Stack, Flags], tuple[Floats, Floats, Limits]]:
    quantiles = g_limits if kind == "g" else t_limits

    def lines(stack: Stack, mine: Flags) -> tuple[Floats, Floats, Limits]:
        centre, lower, upper = (line[stack.limit_set] for line in quantiles(pooled(stack)))
        nothing = np.full(centre.size, np.nan)
        return stack.numerator, centre, Limits(lower, upper, nothing, mine.copy())

    return lines


LINES: dict[str, Callable[[Stack, Flags], tuple[Floats, Floats, Limits]]] = {
    **{kind: _count_lines(kind) for kind in (*sorted(PROPORTIONS), *sorted(RATES))},
    "run": _run_lines,
    "g": _gap_lines("g"),
    "t": _gap_lines("t"),
}


def lines_of(stack: Stack, kinds: list[str]) -> tuple[Floats, Floats, Limits]:
    """Return value, centre and limits of every point, each series by its own kind."""
    value, centre = stack.numerator / stack.denominator, np.full(stack.series.size, np.nan)
    limits = _no_limits(stack)
    for kind in dict.fromkeys(kinds):
        mine = np.isin(stack.series, [i for i, each in enumerate(kinds) if each == kind])
        value_k, centre_k, limits_k = LINES[kind](stack, mine)
        value[mine], centre[mine] = value_k[mine], centre_k[mine]
        for name in ("lower", "upper", "sigma", "exact"):
            getattr(limits, name)[mine] = getattr(limits_k, name)[mine]
    return value, centre, limits
