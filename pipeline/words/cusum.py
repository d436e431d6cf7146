"""A CUSUM in words: what it found, how it adds up, and what its silence means."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.words.numbers import chance, lower_first, month
from pipeline.words.silence import months_words

if TYPE_CHECKING:
    from pipeline.answers.cusum import MeasureCusum

SOUGHT = {"above": "a doubling", "below": "a halving"}


def cusum_signal_sentence(found: MeasureCusum, way: str, i: int) -> str:
    """Say that one side signalled in a month."""
    base = "what case mix expects" if found.terms else "the baseline"
    return (
        f"By {month(found.chart.periods[i])} the evidence for {SOUGHT[way]} of the {_of(found)} "
        f"against {base} reached its limit."
    )


def _of(found: MeasureCusum) -> str:
    return "odds" if found.risk.proportion else "rate"


def cusum_headline(found: MeasureCusum) -> str:
    """State the finding."""
    if not found.signals:
        return f"{found.measure.title}: no evidence of a doubling or a halving"
    last = cusum_signal_sentence(found, *found.signals[-1]).rstrip(".")
    return f"{found.measure.title}: {lower_first(last)}"


def cusum_sentences(found: MeasureCusum) -> list[str]:
    """Say what was found, what was allowed for, and what silence means."""
    said = [cusum_signal_sentence(found, way, i) for way, i in found.signals] or ["No signal."]
    if found.terms:
        said.append(f"Expected from a model of {', '.join(found.terms)}.")
    return [*said, _how(found), *_silence(found)]


def _how(found: MeasureCusum) -> str:
    """Say how the evidence accumulates."""
    against = "what was expected of its children" if found.terms else "the baseline"
    return (
        f"Month of placement by month of placement, the evidence of all catheters for a doubling "
        f"(and apart from it for a halving) of the {_of(found)} against {against} is added up; "
        "a sum that falls below zero starts again at zero, as it does after a signal and in a "
        "new phase."
    )


def _silence(found: MeasureCusum) -> list[str]:
    """Say what silence means."""
    said = [
        f"Limits are set for one false signal in {found.in_control_months:g} months on each "
        f"side; over {int(found.chart.judged.sum())} months the chance of at least one is "
        f"{chance(found.false_signal)}."
    ]
    for months, change in zip(found.delays, ("doubled", "halved"), strict=True):
        said.append(
            f"If the {_of(found)} {change}, a signal would be expected after about "
            f"{months_words(months)}."
        )
    return said
