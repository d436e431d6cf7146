"""Methods and limitations, as text: what was done, what it can see, what made it.

Ordered after the items of SQUIRE 2.0 on measures, analysis, results and
limitations (Ogrinc et al. 2016, BMJ Qual Saf 25:986-992, items 10, 11, 13, 16).
"""

from __future__ import annotations

import math
import platform
from collections.abc import Sequence
from importlib.metadata import version

from pipeline import __version__
from pipeline.answers.chart_series import MOST_EVENTS
from pipeline.answers.comparison import MeasureComparison
from pipeline.answers.findings import Finding
from pipeline.measures.dimensions import DIMENSIONS
from pipeline.report import markdown
from pipeline.report.front import Facts
from pipeline.report.markdown import TableColumn, bullets, prose
from pipeline.words import numbers as words
from pipeline.words.chart import reason
from pipeline.words.numbers import figure

SOURCES = (
    "Reporting: SQUIRE 2.0, Ogrinc et al. 2016, BMJ Qual Saf 25:986-992.",
    "Catheter-days: CDC/NHSN counts device-days at one moment of each day; here hours are counted.",
    "Time in place: Kaplan and Meier 1958, J Am Stat Assoc 53:457-481.",
    "Incidence of reasons: Aalen and Johansen 1978, Scand J Stat 5:141-150. Tests between groups: "
    "Gray 1988, Ann Stat 16:1141-1154.",
    "Limits of a proportion: Wilson 1927, J Am Stat Assoc 22:209-212; see Newcombe 1998, "
    "Stat Med 17:857-872.",
    "Limits of a rate: Garwood 1936, Biometrika 28:437-442.",
    "Control charts: ISO 7870-2. Over-dispersed charts: Laney 2002, Qual Eng 14:531-537. Events "
    "between: Benneyan 2001, Health Care Manag Sci 4:305-318.",
    "Evidence added up: Page 1954, Biometrika 41:100-115; run lengths: Brook and Evans 1972, "
    "Biometrika 59:539-549.",
    "Funnel plots: Spiegelhalter 2005, Stat Med 24:1185-1202.",
    "Many comparisons: Benjamini and Hochberg 1995, J R Stat Soc B 57:289-300.",
)
_PACKAGES = ("duckdb", "numpy", "scipy", "polars", "plotnine")


def methods_pieces(findings: Sequence[Finding], facts: Facts) -> list[str]:
    """Return the methods section, heading by heading."""
    return [
        _section("Measures", "methods-measures", _MEASURES),
        _section("Analysis", "methods-analysis", (*_analysis(), *_BY_GROUP, *_TRIED)),
        "### Rules in force {#rules}",
        charts_table(findings),
        _section("Limitations", "limitations", _limitations()),
        _section("Sources", "sources", SOURCES),
        _section("Versions", "versions", _versions(facts)),
    ]


def _section(title: str, anchor: str, items: Sequence[str]) -> str:
    return f"### {title} {{#{anchor}}}\n\n{bullets([prose(item) for item in items])}"


_MEASURES = (
    "Each measure is one query that gives a numerator and a denominator for each episode; "
    "everything else is derived from it.",
    "One episode is one catheter in one child. Two catheters in one child at a time count "
    "two catheter-days for each day.",
    "A catheter-day is 24 hours in place, counted from placement to removal in hours.",
    "A call that did not reach the family ascertains nothing: missing is not zero. Each "
    "measure shows for how many episodes it is known.",
    "Every row is checked against the rules of the layout when it is loaded, and rows that "
    "break one are set aside, not mended; how complete the fields are is counted anew for "
    "each report.",
    "A month is provisional until every episode in it has had the measure's follow-up time. "
    "Provisional points are hollow and start no signal.",
    "Small counts are shown: this is the committee's own copy.",
)


def _analysis() -> tuple[str, ...]:
    return (
        "Proportions have Wilson limits, rates exact Poisson limits, all at 95%, "
        "wider where a child counts more than once in a rate of contacts. No events: the "
        "upper limit is shown.",
        "Time in place is the Kaplan-Meier estimate with log(-log) limits. Catheters with no "
        "known removal are censored when last known in place.",
        "Reasons of removal compete: their incidence is the Aalen-Johansen estimate, and with "
        "the proportion still in place they add up to one. Tied times are exact ties.",
        "Where only an interval of the removal is known, its middle is used; the text says for "
        "how many.",
        "The first 24 complete months, or as many as hold 20 events, set centre line and limits, "
        "which are then kept; a new baseline starts only at a logged change or decision, and is "
        "complete with half of the months and 20 events. Until then a chart is setting its "
        "baseline and tells only points far out.",
        "Limits leave the tail area of 3 sigma, exact, half of the limit's own chance counted. A "
        "run on one side of the centre line is told where it is as rare as eight at even odds.",
        "Each month adds its evidence that the rate has doubled, or halved, from the baseline "
        "(log-likelihood ratio, never below zero). A watch: a false one in 360 months on each "
        "side. A call: against the worst rate that the baseline leaves likely (95%), a false one "
        "in 36 months times the number of ordinary measures; safety measures in 120 months, at "
        "every site, against the network's rate while a site has too few events of its own.",
        "A baseline that varies more than chance alone would have it (chi-square above its 95% "
        "point and sigma-z above 1.2) has the limits of Laney's chart.",
        "Rare events have charts of the gaps between them (g in catheters, t in catheter-days), "
        f"with their median as centre line; of more than {MOST_EVENTS} events a month counts by "
        "month are charted.",
        "A signal is continuing where one of the same rule and side, with months in common, was "
        "listed for the quarter before; else it is new.",
    )


_TRIED = (
    "A logged change is judged by the change at its sites against that of the sites without it "
    "in the same quarters, mixed over how much and how lastingly sites drift by themselves; the "
    "quarter before it is left out. Without other sites its own drift and season are allowed "
    "for. Beside it stand the same comparison of the months before, split in the middle, the "
    "rates before and after, given the case mix too, and a segmented regression of the months.",
)


def _limitations() -> tuple[str, ...]:
    return (
        "The figures are observational. Nothing here shows what caused a difference.",
        "Case mix is allowed for as far as it is recorded; what is not recorded can still differ "
        "between sites, surgeon types and periods.",
        "A change is often made after a bad spell, and other things change in the same months; "
        "sites without the change, and the months before it, are shown beside it for that reason.",
        "What families report by telephone is less certain than what is seen; a symptom may be "
        "missed where a call reached nobody. A rate known for few has beneath it what it would be "
        "had none, or all, of the missing had the event.",
        "With many charts a signal will sometimes come by chance; the table above says how often "
        "a chart gives one when nothing has changed, where that is known.",
        "Months near the date of the records may still change as late records come in.",
        "What holds for these sites need not hold for others.",
    )


def charts_table(findings: Sequence[Finding]) -> str:
    """Return which chart each measure has and why, with the rules in force."""
    columns = (
        TableColumn("Measure", 24),
        TableColumn("Chart and reason", 44),
        TableColumn("Points", 8, True),
        TableColumn("Chance of a false watch in a year", 12, True),
        TableColumn("Months until a doubling is watched", 12, True),
        TableColumn("Until a halving is", 12, True),
    )
    rows = [
        [
            f"[{markdown.text(f.measure.title)}](#{f.measure.name})",
            markdown.prose(
                reason(f.chart, f.measure.charts[0].value).replace("' chart", "\N{PRIME} chart")
            ),
            f"{len(f.chart):,}",
            *_sight(f),
        ]
        for f in findings
    ]
    caption = (
        "What silence means: the chance within a year of a watch by luck alone, and the expected "
        "months until a change would be watched at this volume; of a proportion above one half "
        "what doubles or halves is what falls short of the whole"
    )
    return markdown.table(columns, rows, caption)


def _sight(finding: Finding) -> tuple[str, str, str]:
    """Return the chance of a false watch, and months to see a doubling and a halving."""
    sight = finding.sight
    if sight is None or not math.isfinite(sight.false_watch):
        return "none judged", "never", "never"
    return (
        f"{figure(100 * sight.false_watch)}%",
        _months(sight.months(2.0)),
        _months(sight.months(0.5)),
    )


def _months(value: float) -> str:
    return figure(value) if math.isfinite(value) else "over 600"


def _versions(facts: Facts) -> tuple[str, ...]:
    parts = [f"{name} {version(name)}" for name in _PACKAGES]
    return (
        f"dwell {__version__} on Python {platform.python_version()}, with {words.joined(parts)}.",
        f"Records as of {facts.as_of}, data fingerprint {facts.fingerprint}.",
    )


def comparison_pieces(results: Sequence[MeasureComparison], facts: Facts) -> list[str]:
    """Return the methods of a comparison."""
    return [
        _section("Analysis", "methods-analysis", _COMPARING),
        "### Case-mix models {#case-mix}",
        _models_table(results),
        _section("Limitations", "limitations", _limitations()),
        _section("Sources", "sources", SOURCES),
        _section("Versions", "versions", _versions(facts)),
    ]


_BY_GROUP = (
    "Groups are compared over the months that are final for every measure compared.",
    "A funnel plot shows the crude rate against the volume; limits are exact, at 95% and 99.8%, "
    "and wider where the groups vary more than chance alone would have them.",
    "Expected numbers come from a logistic or Poisson model of case mix, fitted on the other "
    "groups' children, so that a group does not set its own expectation. Only what the team "
    "cannot choose is allowed for.",
    "A group far from the rest is left out of what is expected of others, the farthest first, so "
    "that one bad group makes no other look good; more than half of the groups always stay.",
    "Ordinary groups differ a little, by an amount learned from the other groups and from all "
    "measures in force. Observed ÷ expected has 95% mid-P limits of how far a group is from one "
    "more ordinary group: binomial for a share, Poisson for a rate, wider where one child has "
    "several events. A shrunken rate is drawn towards the one expected for the case mix, the "
    "more the fewer the events.",
    "A group is called different by the test that the limits belong to: at a false discovery "
    "rate of 5% over all rows read together, only if Holm's step-down test at 5% among the "
    "groups of its measure calls it too, and only if the ratio (of the rarer of an event and "
    "its absence) is large enough to matter: 1.25 unless set otherwise. Below the events that "
    "could show a doubling the row says too few to tell.",
    "Groups stand in the order of their names. There is no ranking: it would sort chance.",
)
_COMPARING = (
    *_BY_GROUP,
    "Between groups, time in place has the log-rank test and each reason Gray's test.",
)


def _models_table(results: Sequence[MeasureComparison]) -> str:
    columns = (
        TableColumn("Measure", 26),
        TableColumn("Allowed for", 40),
        TableColumn("c-statistic", 10, is_number=True),
        TableColumn("Left out: too few events", 24),
    )
    rows = []
    for result in results:
        model = result.comparison.expectation
        terms = ", ".join(map(_term, model.terms)) or "nothing"
        left = ", ".join(map(_term, model.left_out)) or "none"
        rows.append(
            [
                markdown.text(result.measure.title),
                prose(terms),
                figure(model.c_statistic),
                prose(left),
            ]
        )
    return markdown.table(columns, rows, "What each expected number allows for")


def _term(name: str) -> str:
    return DIMENSIONS[name].title
