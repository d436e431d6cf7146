"""The three lists of the first screen: sentences, each with the ids of the figures it quotes.

A sentence never says why something happened, never shows a zero without its
upper limit, and calls nothing significant. Rates have two significant figures.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import prod

from pipeline.answers.findings import Finding
from pipeline.answers.safety import SafetyCall
from pipeline.measures.log import LoggedChange
from pipeline.report import phrases
from pipeline.report.numbers import Sentence
from pipeline.words import numbers as words
from pipeline.words.numbers import count, figure

BY_LUCK = "watch/by-luck"
MAX_IN_A_LIST = 7  # a list for ten minutes; the rest is counted and stands in the table


def _about(finding: Finding, text: str, *ids: str) -> Sentence:
    return Sentence(text, ids, finding.measure.title, finding.measure.name)


def what_changed(
    findings: Sequence[Finding],
    changes: Sequence[LoggedChange],
    standing: Sequence[Sentence] = (),
    labels: Mapping[str, str] | None = None,
    *,
    differences: Sequence[Sentence] = (),
    safety: Sequence[SafetyCall] = (),
) -> list[Sentence]:
    """Return what moved: safety at sites, calls, groups that differ, calls ended, changes begun.

    One line more names what may be moving, with the chance of a watch by luck alone.

    Parameters
    ----------
    findings : sequence of Finding
        All measures, in the order of the report.
    changes : sequence of LoggedChange
        Those that started in the quarter.
    standing : sequence of Sentence
        What still stands at another level since a change logged earlier.
    labels : mapping of str to str, optional
        What is printed for a site.
    differences : sequence of Sentence
        The groups called different, those for the worse first.
    safety : sequence of SafetyCall
        Sites at which a safety measure is worse.
    """
    order = {"worse": 0, "better": 1, "": 2}
    signals = [f for f in findings if f.verdict.is_call]
    signals.sort(key=lambda f: (f.state != "new", order[f.verdict.direction]))
    found = [_at_site(call) for call in safety]
    found += [
        _about(f, f"{f.verdict.clause}{phrases.state(f)}. {phrases.figures(f)}", *phrases.quoted(f))
        for f in signals
    ]
    found += differences
    found += [_ended(f) for f in findings if f.state == "ended" and f.verdict_before.is_call]
    found += [_begun(change, labels or {}) for change in changes]
    if not found:
        text = (
            "No measure moved and no group differs beyond what chance alone would bring, and no "
            "change was begun."
        )
        found.append(Sentence(text))
    listed = shortened([*found, *standing], "further change", "further changes")
    return [*listed, *_watched(findings)]


def _at_site(call: SafetyCall) -> Sentence:
    """Name the site, and every case."""
    number = sum(cases for _, cases in call.cases)
    when = words.joined([f"{cases} in {words.month(month)}" for month, cases in call.cases])
    text = (
        f"{call.label}: more often than expected since {words.month(call.since)} "
        f"(for the worse). This quarter: {count(number, 'case')} in "
        f"{words.amount(call.catheters)} catheters ({when}). Look at every case."
    )
    return Sentence(text, (call.number_id,), call.measure.title, call.measure.name)


def _watched(findings: Sequence[Finding]) -> list[Sentence]:
    """Name what may be moving, in one sentence, with the chance of a watch by luck alone."""
    watched = [f for f in findings if f.verdict.is_signal and not f.verdict.is_call]
    if not watched:
        return []
    named = words.joined(
        [f"{words.lower_first(f.measure.title)} ({f.verdict.words})" for f in watched]
    )
    text = (
        f"To watch, not to act on: {named}. By luck alone a new watch comes in "
        f"{words.chance(watch_by_luck(findings))} of quarters."
    )
    return [Sentence(text, (BY_LUCK,), anchor="measures")]


def watch_by_luck(findings: Sequence[Finding]) -> float:
    """Return the chance that a quarter in which nothing changed brings a new watch."""
    quiet = [1 - f.sight.false_watch for f in findings if f.sight and f.sight.false_watch > 0]
    return float(1 - prod(quiet) ** (1 / 4))


def _ended(finding: Finding) -> Sentence:
    was = finding.verdict_before.words
    text = f"The signal of the quarter before ({was}) has ended. {phrases.figures(finding)}"
    return _about(finding, text, *phrases.quoted(finding))


def _begun(change: LoggedChange, labels: Mapping[str, str]) -> Sentence:
    where = words.joined([labels.get(site, site) for site in change.sites]) or "all sites"
    return Sentence(
        f"Begun in {words.month(change.started_month)} at {where}.",
        subject=change.title,
        anchor="tried",
    )


def to_look_at(safety: Sequence[SafetyCall]) -> list[Sentence]:
    """Return who must be named where a safety measure is worse at a site."""
    return [
        Sentence(f"{call.label}: who looks at every case, and by when?", (call.number_id,),
                 call.measure.title, call.measure.name)
        for call in safety
    ]  # fmt: skip


def to_decide(
    findings: Sequence[Finding],
    set_aside: int,
    min_ascertainment: float,
    *,
    first: Sequence[Sentence] = (),
    groups: Sequence[Sentence] = (),
    then: Sequence[Sentence] = (),
) -> list[Sentence]:
    """Return what needs a decision, by weight: safety, signals, groups, targets, then records.

    Parameters
    ----------
    findings : sequence of Finding
        All measures, in the order of the report.
    set_aside : int
        Rows that wait for correction.
    min_ascertainment : float
        Share of episodes with a known numerator below which a measure is marked.
    first : sequence of Sentence
        Of safety: these stand before all others.
    groups : sequence of Sentence
        The groups to look into.
    then : sequence of Sentence
        What was decided earlier and is not done; only the records come after these.
    """
    found = [*first]
    found += [
        _look_into(f) for f in findings if f.verdict.is_call and f.verdict.direction == "worse"
    ]
    found += groups
    found += [s for f in findings if (s := _short_of_target(f)) is not None]
    found += then
    found += [_learn_more(f) for f in _poorly_known(findings, min_ascertainment)]
    if set_aside:
        waiting = count(set_aside, "row waits", "rows wait")
        which = "it" if set_aside == 1 else "them"
        text = f"{waiting} for correction. Who corrects {which}?"
        found.append(Sentence(text, ("rows/set-aside",), "Rows set aside", "data"))
    if not found:
        return [Sentence("Nothing in these figures asks for a decision.")]
    return shortened(found, "further matter", "further matters")


def _look_into(finding: Finding) -> Sentence:
    text = f"{words.sentence_case(finding.verdict.words)}, for the worse. Who looks into it?"
    return _about(finding, text, finding.number_id)


def _short_of_target(finding: Finding) -> Sentence | None:
    """Return a sentence where the 95% limits leave the target out on the worse side."""
    now, target = finding.now, finding.target
    if target is None or not now.has_figures or finding.measure.better == "neither":
        return None
    higher = finding.measure.better == "higher"
    short = now.upper < target if higher else now.lower > target
    if not short:
        return None
    unit = finding.measure.unit
    text = (
        f"{words.sentence_case(phrases.rate_phrase(now, unit))}, "
        f"{'short of' if higher else 'above'} the target of {figure(target, 3)}: "
        "decide what to try, or whether the target holds."
    )
    return _about(finding, text, finding.number_id, f"{finding.measure.name}/target")


def _poorly_known(findings: Sequence[Finding], least: float) -> list[Finding]:
    return [f for f in findings if f.now.episodes and f.now.ascertainment < least]


def _learn_more(finding: Finding) -> Sentence:
    now = finding.now
    text = (
        f"Known for only {now.ascertained:,} of {count(now.episodes, 'catheter')}. "
        "Who will improve recording?"
    )
    return _about(finding, text, finding.number_id)


def cannot_tell(findings: Sequence[Finding], unknown_dwell: int, catheters: int) -> list[Sentence]:
    """Return what the figures cannot tell yet, in one sentence.

    Parameters
    ----------
    findings : sequence of Finding
        All measures, in the order of the report.
    unknown_dwell, catheters : int
        Catheters of the quarter without a known time in place, and all of them.
    """
    found = [
        *_blind(findings),
        *_named(findings, "setting", "Setting their baselines, so that nothing is judged yet:"),
        *_named(findings, "too_few", "Too few figures yet to tell a change from chance:"),
        *_named(findings, "no_data", "No figures this quarter:"),
        *_provisional(findings),
    ]
    if unknown_dwell:
        text = (
            f"The time in place is not known for {unknown_dwell:,} of "
            f"{count(catheters, 'catheter')}; missing is not zero, and they are left out."
        )
        found.append(Sentence(text, ("dwell/unknown", "catheters"), anchor="data"))
    return [in_one(found)] if found else [Sentence("Every measure has the figures it needs.")]


def in_one(sentences: Sequence[Sentence]) -> Sentence:
    """Return several sentences as one, its parts by semicolons."""
    first, *others = [sentence.text.removesuffix(".") for sentence in sentences]
    text = "; ".join([first, *(words.lower_first(other) for other in others)])
    ids = dict.fromkeys(name for sentence in sentences for name in sentence.numbers)
    return Sentence(f"{text}.", tuple(ids), anchor=sentences[-1].anchor)


def _blind(findings: Sequence[Finding]) -> list[Sentence]:
    """Name the charts whose silence means little, with how long a doubling would take."""
    those = [f for f in findings if f.verdict.kind == "blind"]
    if not those:
        return []
    parts = [
        f"{words.lower_first(f.measure.title)} ({phrases.months_to_doubling(f)})" for f in those
    ]
    text = f"Too few events for the chart to show even a doubling soon: {words.joined(parts)}."
    return [Sentence(text, tuple(f"{f.measure.name}/months-to-doubling" for f in those))]


def _titles(findings: Sequence[Finding]) -> str:
    return words.joined([words.lower_first(f.measure.title) for f in findings])


def _named(findings: Sequence[Finding], kind: str, opening: str) -> list[Sentence]:
    those = [f for f in findings if f.verdict.kind == kind]
    return [Sentence(f"{opening} {_titles(those)}.")] if those else []


def _provisional(findings: Sequence[Finding]) -> list[Sentence]:
    those = [f for f in findings if f.now.provisional]
    if not those:
        return []
    which = "all measures" if len(those) == len(findings) else _titles(those)
    why = "some catheters have not had their follow-up time"
    return [Sentence(f"Provisional, because {why}: {which}.")]


def shortened(sentences: list[Sentence], one: str, many: str | None = None) -> list[Sentence]:
    """Keep a list short enough to read; the rest is counted and stands in the table."""
    if len(sentences) <= MAX_IN_A_LIST:
        return sentences
    rest = len(sentences) - MAX_IN_A_LIST + 1
    text = f"And {words.counted(rest, one, many)}, in the table below."
    return [*sentences[: MAX_IN_A_LIST - 1], Sentence(text)]
