"""What imputing the missing changes, in words."""

from __future__ import annotations

from pipeline.analysis.comparison.imputation import FARTHEST, ImputedGroup
from pipeline.measures.catalogue import Measure
from pipeline.words.codes import words_of
from pipeline.words.numbers import figure, sentence_case, with_limits


def about_imputed(measure: Measure, group: ImputedGroup) -> str:
    """Say a group's ratio with and without imputing, and how far chance would have to be off."""
    known = group.known + group.missing
    odds = "odds" if measure.denominator_kind == "proportion" else "rate"
    if group.turning_point == group.turning_point:  # not NaN
        turn = (
            f"Whether its limits leave out 1 would change if the {odds} among the missing were"
            f" {figure(group.turning_point)} times those of the known of like case mix."
        )
    else:
        turn = f"No {odds} among the missing up to {FARTHEST:.0f} times higher or lower changes it."
    return (
        f"{sentence_case(words_of(group.group))}, {measure.title.lower()}: not known for"
        f" {group.missing:,.0f} of {known:,.0f}. Observed to expected"
        f" {with_limits(group.complete, group.complete_lower, group.complete_upper)} of those"
        f" known, {with_limits(group.ratio, group.lower, group.upper)} with the others imputed."
        f" {turn}"
    )
