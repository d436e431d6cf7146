"""A chart in words: its finding as a title, its method in a line, its numbers for the blind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from pipeline.analysis.charts.results import GAPS, PROPORTIONS, ControlChart, Signal
from pipeline.words.numbers import count, figure, joined, month
from pipeline.words.silence import silence
from pipeline.words.verdicts import beyond_words, evidence_words, shift_words

if TYPE_CHECKING:
    from pipeline.answers.charts import MeasureChart

NAMES = {
    "run": "Run chart", "p": "p chart", "p'": "p′ chart (Laney)", "u": "u chart",
    "u'": "u′ chart (Laney)", "g": "g chart", "t": "t chart",
}  # fmt: skip
NO_EVENT_TAIL = 0.025
"""Area beyond each of two 95% limits."""


def with_unit(chart: ControlChart, value: float) -> str:
    """Write a value of the chart with its unit."""
    return f"{figure(value)} {chart.unit}".rstrip()


def told_apart(value: float, limit: float) -> tuple[str, str]:
    """Write a value and a limit with as many digits as tell them apart, four at most."""
    if figure(value) != figure(limit):
        return figure(value), figure(limit)
    pairs = ((f"{value:.{digits}g}", f"{limit:.{digits}g}") for digits in (3, 4))
    return next((pair for pair in pairs if pair[0] != pair[1]), (figure(value), figure(limit)))


def headline(chart: ControlChart, subject: str) -> str:
    """State the chart's finding in one sentence, for its title.

    What holds at the last judged point decides: a call before a watch, a watch before a
    run or a point beyond a limit. A chart without a signal is steady at its centre line,
    or rose or fell from one phase to the next.
    """
    now = [s for s in chart.signals if _latest(chart, s)]
    for kind in ("call", "watch"):
        for signal in now:
            if signal.kind == kind:
                rare = chart.is_of_gaps
                return (
                    f"{subject}: {evidence_words(kind, signal.direction, signal.first, rare=rare)}"
                )
    if runs := [s for s in now if s.kind == "long_run"]:
        shift = shift_words(runs[-1].direction, runs[-1].first, rare=chart.is_of_gaps)
        return f"{subject}: {shift}"
    if out := [s for s in now if s.kind == "beyond_limit"]:
        side = out[-1].direction
        periods = [s.first for s in out if s.direction == side]
        return f"{subject}: {beyond_words(side, periods, rare=chart.is_of_gaps)}"
    return f"{subject}: {_quiet(chart)}"


def signal_sentence(chart: ControlChart, signal: Signal) -> str:
    """Say what one signal of a chart is, with the points it names."""
    if signal.kind == "beyond_limit":
        return _beyond_sentence(chart, signal)
    first, last = month(signal.first), month(signal.last)
    if signal.kind == "long_run":
        return (
            f"{len(signal.points)} points in a row {signal.direction} the centre line, "
            f"{first} to {last}: as rare as eight at even odds."
        )
    rises = (signal.direction == "above") != chart.is_of_gaps
    evidence = f"evidence that the rate has {'doubled' if rises else 'halved'}"
    when = f"In {first}" if first == last else f"From {first} to {last}"
    if signal.kind == "call":
        return (
            f"{when} the {evidence} from its baseline holds: find the cause, or log a new "
            "baseline with its reason."
        )
    return f"{when} there is some {evidence} from its baseline: watch."


def _beyond_sentence(chart: ControlChart, signal: Signal) -> str:
    (i,) = signal.points
    is_above = signal.direction == "above"
    limit = chart.upper[i] if is_above else chart.lower[i]
    value, bound = told_apart(float(chart.value[i]), float(limit))
    value = f"{value} {chart.unit}".rstrip()
    name = "upper" if is_above else "lower"
    when = month(signal.first)
    return f"{when} lies {signal.direction} the {name} limit: {value} against {bound}."


def reason(chart: ControlChart, card: str = "") -> str:
    """Say why this kind of chart is drawn; `card` is the kind that the measure's card names."""
    choice, kind = chart.choice, chart.kind
    if choice.why == "asked":
        return f"{kind} chart, as asked."
    if choice.why == "short":
        return f"Run chart: {count(choice.points, 'complete point')}, too few for limits."
    figures = (
        f"chi-square {choice.chi_square:.1f} on {choice.freedom} degrees of freedom, "
        f"sigma-z {choice.sigma_z:.2f}"
    )
    if choice.why == "overdispersed":
        plain = "binomial" if kind in PROPORTIONS else "Poisson"
        return (
            f"{kind} chart (Laney): the baseline varies more than a {plain} chart allows "
            f"({figures})."
        )
    spread = f"; not over-dispersed ({figures})" if choice.freedom else ""
    return f"{kind} chart, {_against_card(chart, card)}{spread}."


def _against_card(chart: ControlChart, card: str) -> str:
    if card not in GAPS or chart.is_of_gaps:
        return "as the measure's card says"
    is_quarterly = "Q" in chart.periods[-1]
    why = "a point is a quarter" if is_quarterly else "the events are not rare"
    return f"not the {card} chart of the measure's card, since {why}"


def notes(chart: ControlChart) -> list[str]:
    """Say what is not drawn, and what cannot be judged."""
    said = [
        f"“{c.title}” is logged for {month(c.started)}, after the last point; it is not drawn."
        for c in chart.later_changes
    ]
    if chart.is_setting_baseline and len(chart):
        said.append("Setting its baseline: limits are trial limits, and only points far beyond "
                    "them are told.")  # fmt: skip
    return said


def chart_sentences(charted: MeasureChart) -> list[str]:
    """Say why this chart is drawn, what it signals and what its silence means."""
    chart = charted.chart
    signals = [signal_sentence(chart, s) for s in chart.signals] or ["No signal."]
    if charted.terms:
        signals.append(f"Evidence allows for {joined(charted.terms)}.")
    return [reason(chart, charted.card), *signals, *notes(chart), *silence(chart, charted.sight)]


def _latest(chart: ControlChart, signal: Signal) -> bool:
    """Whether a signal still holds, or names a point of the limits in force."""
    if signal.kind in {"watch", "call"}:
        assert chart.cusum is not None
        return signal.last == chart.cusum.last_judged
    return bool(chart.limit_set[signal.points[-1]] == chart.limit_set[-1])


def _quiet(chart: ControlChart) -> str:
    centres = [p for p in chart.phases if not p.carried_forward and np.isfinite(p.centre)]
    if not centres:
        return "no event yet" if chart.is_of_gaps else "no complete point yet"
    last = _level(chart, centres[-1].centre)
    if len(centres) > 1 and centres[-1].change:
        before, after = centres[-2].centre, centres[-1].centre
        moved = "from" if before == after else "up from" if after > before else "down from"
        return f"{moved} {figure(before)} to {last} since {month(centres[-1].first)}"
    if chart.kind == "run":
        return f"median {last}, too few points for limits"
    if chart.is_setting_baseline:
        return f"setting its baseline, so far {last}"
    return f"steady at {last}"


def _level(chart: ControlChart, centre: float) -> str:
    """Write a centre line; of none, or of every one, also what it may be by chance.

    The bound is Clopper and Pearson's, or Garwood's, upper 95% limit of no event.
    """
    n = float(
        np.nansum(chart.denominator[chart.baseline & (chart.limit_set == chart.limit_set[-1])])
    )
    is_all = chart.model == "binomial" and centre == chart.multiplier
    if chart.is_of_gaps or not n or not (centre == 0 or is_all):
        return with_unit(chart, centre)
    tail = -np.log(NO_EVENT_TAIL) / n
    bound = (-np.expm1(-tail) if chart.model == "binomial" else tail) * chart.multiplier
    end = f"at least {figure(chart.multiplier - bound)}" if is_all else f"at most {figure(bound)}"
    return f"{with_unit(chart, centre)} ({end} by its 95% limits)"


def method(chart: ControlChart) -> str:
    """State the method in one line, for the caption."""
    parts = [NAMES[chart.kind], _centre_line(chart), _limits(chart)]
    if (chart.provisional & np.isfinite(chart.value)).any():
        parts.append("hollow points are provisional")
    return "; ".join(part for part in parts if part) + "."


def _centre_line(chart: ControlChart) -> str:
    base = next((p for p in reversed(chart.phases) if p.baseline_first), None)
    if base is None or base.baseline_first is None or base.baseline_last is None:
        return ""
    what = "median" if chart.kind in {"run", *GAPS} else "mean"
    span = f"{month(base.baseline_first)} to {month(base.baseline_last)}"
    return f"centre line the {what} of {count(base.baseline_points, 'point')}, {span}"


def _limits(chart: ControlChart) -> str:
    drawn = np.isfinite(chart.upper)
    if not drawn.any():
        return "no limits"
    if chart.exact[drawn].all():
        return "exact limits with the tail area of 3 sigma"
    return "limits 3 sigma"


def description(chart: ControlChart, subject: str) -> str:
    """State the numbers for those who cannot see the figure."""
    shown = np.flatnonzero(np.isfinite(chart.value))
    if shown.size == 0:
        return f"{NAMES[chart.kind]} of {subject}: no point to show."
    last = shown[-1]
    said = [
        f"{NAMES[chart.kind]} of {subject}, {shown.size} points from "
        f"{month(chart.periods[shown[0]])} to {month(chart.periods[last])}.",
        f"Latest value {with_unit(chart, chart.value[last])}"
        + (", provisional." if chart.provisional[last] else "."),
        f"Centre line {figure(chart.centre[last])}{_limits_at(chart, int(last))}.",
    ]
    said += [signal_sentence(chart, s) for s in chart.signals] or ["No signal."]
    said += [f"{month(c.started)}: {c.title}." for c in chart.changes]
    return " ".join(said)


def _limits_at(chart: ControlChart, i: int) -> str:
    if not np.isfinite(chart.upper[i]):
        return ", no limits"
    return f", limits {figure(chart.lower[i])} to {figure(chart.upper[i])}"
