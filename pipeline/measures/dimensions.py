"""What is known of an episode at placement: what it can be chosen, grouped and compared by.

How and when the catheter came out is not among them: a group chosen by its outcome has
no honest time in place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from pipeline.errors import NoDataError, UsageError
from pipeline.measures.catalogue import Measure
from pipeline.records import codes
from pipeline.records.codes import Code
from pipeline.store import Store

NOT_RECORDED = "not_recorded"
Value = str | int | float | bool | None


class Holds(Enum):
    """What a column holds, hence what it can be compared with."""

    TEXT = "a code, or text in quotes,"
    NUMBER = "a number"
    YES_NO = "yes or no"


@dataclass(frozen=True, slots=True)
class Dimension:
    """One thing that is known of an episode at placement.

    Attributes
    ----------
    name : str
        As asked for.
    column : str
        Its column in `episode_dwell`.
    holds : Holds
        What the column holds; numbers make no groups.
    codes : type of Code or None
        The vocabulary of its levels, where that is closed.
    title : str
        As printed, in the singular.
    same_as : tuple of str
        Other dimensions that are the same thing, so that neither is compared within, or
        adjusted for, the other.
    band : str
        For a number, SQL of the bands that stand for it as a case-mix term: one more year
        or hour does not add the same everywhere.
    """

    name: str
    column: str
    holds: Holds
    codes: type[Code] | None
    title: str
    same_as: tuple[str, ...]
    band: str

    @property
    def plural(self) -> str:
        """What several of its levels are called."""
        return f"{self.title}s"

    @property
    def as_text(self) -> str:
        """SQL of its level as text; null where it is not recorded."""
        if self.band:
            return self.band
        if self.holds is Holds.YES_NO:
            return f"case when {self.column} then 'yes' when not {self.column} then 'no' end"
        return self.column

    def value(self, level: str) -> Value:
        """Return what its column holds for a level that was given as text."""
        if level == NOT_RECORDED:
            return None
        return level == "yes" if self.holds is Holds.YES_NO else level


def _dimension(
    name: str,
    holds: Holds = Holds.TEXT,
    *,
    column: str = "",
    vocabulary: type[Code] | None = None,
    title: str = "",
    same_as: tuple[str, ...] = (),
    band: str = "",
) -> Dimension:
    title = title or name.replace("_", " ")
    return Dimension(name, column or name, holds, vocabulary, title, same_as, band)


DIMENSIONS: Mapping[str, Dimension] = {
    dimension.name: dimension
    for dimension in (
        _dimension("month", column="placed_month"),
        _dimension("quarter", column="placed_quarter"),
        _dimension("site"),
        _dimension("surgeon_type", vocabulary=codes.SurgeonType),
        _dimension("limb", vocabulary=codes.Limb, same_as=("nerve_target",)),
        _dimension("nerve_target", vocabulary=codes.NerveTarget, title="nerve", same_as=("limb",)),
        _dimension("age_band", same_as=("age_years",)),
        _dimension("interpreter_needed", Holds.YES_NO, title="need of an interpreter"),
        _dimension("placed_by", vocabulary=codes.PlacedBy),
        _dimension("tunnelled", Holds.YES_NO),
        _dimension("skin_glue", Holds.YES_NO),
        _dimension("drug", vocabulary=codes.Drug),
        _dimension("planned_course", same_as=("planned_dwell_h",)),
        _dimension("age_years", Holds.NUMBER, title="age", band="age_band"),
        _dimension("weight_kg", Holds.NUMBER),
        _dimension("concentration_pct", Holds.NUMBER),
        _dimension("rate_ml_h", Holds.NUMBER),
        _dimension("reservoir_ml", Holds.NUMBER),
        _dimension("runtime_h", Holds.NUMBER),
        _dimension("planned_dwell_h", Holds.NUMBER, title="planned dwell", band="planned_course"),
        _dimension("placed_hour", Holds.NUMBER),
    )
}
PERIODS = ("month", "quarter")
GROUPED_BY = tuple(name for name, one in DIMENSIONS.items() if one.holds is not Holds.NUMBER)
COMPARED_BY = tuple(name for name in GROUPED_BY if name not in PERIODS)


def grouped_by(name: str) -> Dimension:
    """Return a dimension that makes groups.

    Raises
    ------
    UsageError
        Nothing of that name does.
    """
    if name not in GROUPED_BY:
        raise UsageError(
            f"Episodes cannot be grouped by {name}.", try_next=f"one of {', '.join(GROUPED_BY)}"
        )
    return DIMENSIONS[name]


def is_same(one: str, other: str) -> bool:
    """Whether two dimensions are the same thing, such as a limb and its nerves."""
    return one == other or other in DIMENSIONS[one].same_as


def case_mix_terms(measure: Measure, *groupings: str) -> tuple[str, ...]:
    """Return the case-mix terms of a measure's card, with surgeon type and site.

    What the groups are made by is left out. Nothing that a team can choose is ever
    among the terms: see `pipeline.analysis.comparison.case_mix.ADJUSTABLE`.
    """
    terms = (*measure.case_mix, "surgeon_type", "site")
    return tuple(term for term in terms if not any(is_same(by, term) for by in groupings))


def site_labels(store: Store) -> dict[str, str]:
    """Return what is printed for each site, by its code."""
    return dict(store.rows("select site, label from site order by site"))


def group_labels(store: Store, by: str | None) -> dict[str, str]:
    """Return the labels that the store holds for a grouping: those of sites."""
    return site_labels(store) if by == "site" else {}


def check_sites(store: Store, sites: Sequence[str]) -> None:
    """Refuse a site that the store does not know; raises `NoDataError`."""
    known = site_labels(store)
    for site in sites:
        if site not in known:
            raise NoDataError(
                f"The store holds no site {site}.", try_next=f"one of {', '.join(sorted(known))}"
            )
