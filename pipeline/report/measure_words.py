"""The one or two sentences under a measure's heading."""

from __future__ import annotations

from pipeline.answers.findings import Finding
from pipeline.report import phrases
from pipeline.report.numbers import Sentence
from pipeline.words import numbers as words


def about_measure(finding: Finding) -> list[Sentence]:
    """Return the one or two sentences under a measure's heading."""
    verdict = finding.verdict
    if verdict.is_signal:
        opening = f"{verdict.clause}{phrases.state(finding)}."
    elif finding.state == "ended":
        opening = f"The signal of the quarter before ({finding.verdict_before.words}) has ended."
    elif verdict.kind == "blind":
        months = phrases.months_to_doubling(finding)
        opening = f"Too few events to tell: a doubling would take {months} to show."
    else:
        opening = _QUIET[verdict.kind]
    found = [
        Sentence(opening, _sight_ids(finding)),
        Sentence(phrases.figures(finding), phrases.quoted(finding)),
    ]
    now = finding.now
    if now.has_figures and now.ascertained < now.episodes:
        text = f"Known for {now.ascertained:,} of {words.count(now.episodes, 'catheter')}"
        ids = [finding.number_id]
        if finding.is_poorly_known:
            span = words.limits(now.if_none, now.if_all)
            text += f": {span}, whatever the missing ones were"
            ids += [f"{finding.number_id}/if-none", f"{finding.number_id}/if-all"]
        found.append(Sentence(f"{text}.", tuple(ids)))
    return found


def _sight_ids(finding: Finding) -> tuple[str, ...]:
    blind = finding.verdict.kind == "blind"
    return (f"{finding.measure.name}/months-to-doubling",) if blind else ()


_QUIET = {
    "steady": "Steady.",
    "setting": "Setting its baseline: nothing is judged yet but points far out.",
    "too_few": "Too few figures yet for limits.",
    "provisional": "Provisional: follow-up is not complete, so no point is judged.",
    "no_data": "No figures this quarter.",
}
