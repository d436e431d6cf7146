"""Sentences of 100 simulated quarters: each can be traced, none claims too much."""

import re

import numpy as np
import pytest

from pipeline.report import measure_words, narrative
from pipeline.report.measure_section import finding_numbers
from pipeline.report.numbers import Number, check
from pipeline.words import numbers as words
from pipeline.words.numbers import amount, noun
from tests.report.quarters import changes, findings

QUARTERS = 100
# What no sentence may say: a cause, a score, a test, an emphasis.
FORBIDDEN = re.compile(
    r"caused|due to|led to|thanks to|as a result|effect of|impact|improved by|worked"
    r"|significan|p ?[<=]|rank|best|worst|league|success|fail(ed|ing) to",
    re.IGNORECASE,
)
_PERIODS = re.compile(rf"(?:{'|'.join(words.MONTHS)}) \d{{4}}|\d{{4}}-Q\d")
_NUMBER = re.compile(r"\d[\d,]*(?:\.\d+)?")


@pytest.fixture(scope="module")
def quarters():
    made = []
    for seed in range(QUARTERS):
        found = findings(seed)
        rng = np.random.default_rng(seed)
        facts = (int(rng.choice([0, 1, 5, 40])), int(rng.choice([0, 1, 8, 30])), 460)
        said = [
            *narrative.what_changed(found, changes(seed)),
            *narrative.to_decide(found, facts[0], 0.8),
            *narrative.cannot_tell(found, facts[1], facts[2]),
            *(sentence for f in found for sentence in measure_words.about_measure(f)),
        ]
        made.append((found, facts, said))
    return made


def ledger(found, facts):
    set_aside, unknown, catheters = facts
    return [
        *(number for f in found for number in finding_numbers(f)),
        Number("rows/set-aside", set_aside, "rows"),
        Number("dwell/unknown", unknown, "catheters"),
        Number("catheters", catheters, "catheters"),
        Number(narrative.BY_LUCK, 100 * narrative.watch_by_luck(found), "% of quarters"),
    ]


def printed_forms(number):
    values = [getattr(number, n) for n in ("value", "numerator", "denominator", "lower", "upper")]
    values += [number.episodes, number.ascertained]
    forms = set()
    for value in values:
        if value is not None and np.isfinite(value):
            forms |= {words.figure(value), words.figure(value, 3), amount(value), f"{value:,.0f}"}
    return forms


def without_fixed(text, unit_numbers):
    """Leave the numbers that come from figures: no periods, levels or units."""
    text = _PERIODS.sub("", text).replace("95%", "")
    for phrase in unit_numbers:
        text = text.replace(phrase, "")
    return text


def test_every_quoted_number_is_among_the_figures_of_its_sentence(quarters):
    for found, facts, said in quarters:
        numbers = {n.id: n for n in ledger(found, facts)}
        fixed = {f.measure.unit for f in found} | {f.measure.title for f in found}
        fixed |= {words.lower_first(f.measure.title) for f in found}
        fixed |= {words.chance(0.0), words.chance(1.0)}  # the ends of chances
        for sentence in said:
            allowed = set().union(*(printed_forms(numbers[i]) for i in sentence.numbers), set())
            text = without_fixed(sentence.text, fixed)
            loose = [n for n in _NUMBER.findall(text) if n.rstrip(",") not in allowed]
            assert not loose, (loose, sentence)


def test_the_figures_have_one_name_each_and_sentences_name_none_that_is_absent(quarters):
    for found, facts, said in quarters:
        check(ledger(found, facts), said)


def test_no_sentence_claims_a_cause_a_rank_or_significance(quarters):
    for _, _, said in quarters:
        for sentence in said:
            assert not FORBIDDEN.search(sentence.text), sentence.text


def test_no_events_never_stand_without_their_upper_limit(quarters):
    seen = 0
    for _, _, said in quarters:
        for sentence in said:
            assert not re.search(r"(?<![\d.,])0(\.0+)?( per |%)", sentence.text), sentence.text
            for part in re.findall(r"\bnone in [^;.]*|, none[^;.]*", sentence.text):
                seen += 1
                assert "upper 95% limit" in part, sentence.text
    assert seen > 100


def test_one_is_singular_and_several_are_plural(quarters):
    for _, _, said in quarters:
        for sentence in said:
            assert not re.search(r"(?<![\d.,])1 (catheters|rows|removals|calls)\b", sentence.text)
            assert not re.search(r"(?<![\d.,])1 row wait\b", sentence.text)
            assert not re.search(
                r"\b(\d*[02-9]|\d{2,}) (catheter|row|removal|call)\b(?!-)", sentence.text
            )


def test_a_list_is_short_and_counts_what_it_leaves_out(quarters):
    for found, _, _ in quarters:
        said = narrative.what_changed(found, [])
        said = [one for one in said if not one.text.startswith("To watch")]
        assert len(said) <= narrative.MAX_IN_A_LIST
        signals = [f for f in found if f.verdict.is_call]
        ended = [f for f in found if f.state == "ended" and f.verdict_before.is_call]
        total = len(signals) + len(ended)
        if total > narrative.MAX_IN_A_LIST:
            rest = total - narrative.MAX_IN_A_LIST + 1
            assert said[-1].text.startswith(f"And {words.counted(rest, 'further change')[:3]}")


def test_every_kind_of_verdict_occurs_in_the_simulation(quarters):
    kinds = {f.verdict.kind for found, _, _ in quarters for f in found}
    assert kinds >= {"call", "watch", "beyond", "shift", "steady", "setting", "provisional"}
    states = {f.state for found, _, _ in quarters for f in found}
    assert states >= {"new", "continuing", "ended", ""}


def test_a_quiet_quarter_says_so():
    assert "No measure moved" in narrative.what_changed([], [])[0].text
    assert "Nothing in these figures" in narrative.to_decide([], 0, 0.8)[0].text
    assert "Every measure" in narrative.cannot_tell([], 0, 100)[0].text


def test_a_new_signal_for_the_worse_comes_first(quarters):
    for found, _, _ in quarters:
        signals = [f for f in found if f.verdict.is_call]
        new_worse = [f for f in signals if f.state == "new" and f.verdict.direction == "worse"]
        if new_worse:
            first = narrative.what_changed(found, [])[0]
            assert first.anchor in {f.measure.name for f in new_worse}


@pytest.mark.parametrize(
    ("unit", "number", "said"),
    [
        ("per 100 catheters", 1, "catheter"),
        ("per 100 catheter-days", 2, "catheter-days"),
        ("per catheter-day", 0, "catheter-days"),
        ("per 100 calls", 1, "call"),
    ],
)
def test_a_unit_names_what_it_counts(unit, number, said):
    assert noun(unit, number) == said
