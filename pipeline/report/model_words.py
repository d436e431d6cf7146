"""A model in words that a clinician reads, with absolute risks beside the ratios."""

from __future__ import annotations

from pipeline.analysis.modelling import ModelResult
from pipeline.analysis.models import ModelFit
from pipeline.analysis.risks import Risk
from pipeline.records.wording import noun_of, words_of

MEANINGS = {
    "cox": "Other reasons end follow-up: a ratio says what drives this reason while in place.",
    "finegray": "Ratios are of subdistribution hazards: they say what share will come out for "
    "this reason.",
}
FEW_P = 0.05


def model_sentences(result: ModelResult, hidden: int = 0) -> list[str]:
    """Say what a model found, what was left out of it, and whether its ratios hold.

    Parameters
    ----------
    result : ModelResult
    hidden : int
        Counts of children from 1 to one below it are not said; 0 says all.
    """
    said = []
    if result.fit is not None:
        said = [_column(result, result.fit, i) for i in range(len(result.fit.columns))]
        said.append(MEANINGS[result.model])
    said += [left.why for left in result.left_out]
    if result.missing:
        number = "A few" if result.missing < hidden else f"{result.missing:,}"
        terms = ", ".join(_words(term) for term in result.missing_by_term)
        said.append(
            f"{number} catheters are not in the model because something is not recorded "
            f"({terms}): complete cases only."
        )
    return [*said, *_proportional(result)]


def _column(result: ModelResult, fit: ModelFit, i: int) -> str:
    column = fit.columns[i]
    ratio, lower, upper = fit.hazard_ratio[i], fit.lower[i], fit.upper[i]
    limits = f"({100 * fit.level:g}% limits {lower:.2f} to {upper:.2f})"
    reason = noun_of(result.reason)
    risks = {r.child.value: r for r in result.risks if r.child.term == column.term}
    if column.level is None:
        return (
            f"{_capital(column.label)}: removal for {reason} is {ratio:.2f} times as frequent "
            f"{limits}, all else equal{_number_risks(list(risks.values()))}."
        )
    assert column.reference is not None
    level, reference = _words(column.level), _words(column.reference)
    own, other = risks.get(level), risks.get(reference)
    beside = ""
    if own is not None and other is not None:
        beside = (
            f": {_per_100(own)} of 100 such catheters out for it by {own.hour:g} h, against "
            f"{_per_100(other)}"
        )
    return (
        f"{_capital(_words(column.term))} {level} against {reference}: removal for {reason} is "
        f"{ratio:.2f} times as frequent {limits}, all else equal{beside}."
    )


def _number_risks(risks: list[Risk]) -> str:
    if not risks:
        return ""
    parts = [f"{_per_100(r)} of 100 at {r.child.value}" for r in risks]
    return f": by {risks[0].hour:g} h {', '.join(parts)}"


def _per_100(risk: Risk) -> str:
    return f"{100 * risk.risk:.1f}" if risk.risk < 0.1 else f"{100 * risk.risk:.0f}"


def _proportional(result: ModelResult) -> list[str]:
    if result.check is None:
        return []
    doubtful = [
        f"{_words(test.term)} (p {test.p_value:.2g})"
        for test in result.check.tests[:-1]
        if test.p_value < FEW_P
    ]
    if not doubtful:
        return ["No ratio is seen to change over the course (score test of each term)."]
    return [
        f"The ratio changes over the course for {', '.join(doubtful)}: read it as an average, "
        "and look at the ratios by day."
    ]


def _words(code: str) -> str:
    return words_of(code)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
