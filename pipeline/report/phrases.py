"""Phrases about one measure's finding, the same on the first screen and in its own section."""

from __future__ import annotations

import math

from pipeline.answers.findings import Finding, Rate
from pipeline.words.numbers import amount, figure, limits, noun


def rate_phrase(rate: Rate, unit: str) -> str:
    """Say a rate with its 95% limits; zero events only with their upper limit."""
    if rate.denominator <= 0:
        return "no figures"
    of = f"{amount(rate.denominator)} {noun(unit, round(rate.denominator))}"
    if rate.numerator == 0:
        return f"none in {of}, upper 95% limit {figure(rate.upper)} {unit}"
    said = f"95% limits {limits(rate.lower, rate.upper)}"
    return f"{figure(rate.rate)} {unit} ({said}; {amount(rate.numerator)} in {of})"


def _before(rate: Rate, unit: str) -> str:
    if not rate.has_figures:
        return ""
    if rate.numerator == 0:
        return f"; in the year before, none (upper 95% limit {figure(rate.upper)} {unit})"
    return f"; in the year before, {figure(rate.rate)}"


def figures(finding: Finding) -> str:
    """Say this quarter's rate, and the one of the year before."""
    now, unit = finding.now, finding.measure.unit
    return f"This quarter: {rate_phrase(now, unit)}{_before(finding.year_before, unit)}."


def state(finding: Finding) -> str:
    """Say in brackets whether a signal is new, and which way it points."""
    said: list[str] = [finding.state] if finding.state else []
    if finding.verdict.direction:
        said.append(f"for the {finding.verdict.direction}")
    return f" ({', '.join(said)})" if said else ""


def months_to_doubling(finding: Finding) -> str:
    """Say how long a doubling would take to show."""
    months = finding.months_to_doubling
    return f"about {figure(months)} months" if math.isfinite(months) else "more than 50 years"


def quoted(finding: Finding) -> tuple[str, ...]:
    """Ids of the figures that `figures` says."""
    return (finding.number_id, finding.year_before_id)
