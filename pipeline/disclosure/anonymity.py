"""How alike records are in what could single a child out: k-anonymity."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import polars as pl

# What somebody outside could know of a child; a finer form counts as its coarser one does.
QUASI_IDENTIFIERS = (
    "age_band",
    "age_years",
    "site",
    "surgeon_type",
    "placed_quarter",
    "placed_month",
)


@dataclass(frozen=True)
class Anonymity:
    """How many records share their quasi-identifiers.

    Attributes
    ----------
    quasi_identifiers : tuple of str
        The columns that were compared.
    k : int
        Smallest group of like records that is wanted.
    smallest : int
        Children in the smallest group; 0 where there are no records.
    groups, small_groups : int
        Groups of like records, and those of fewer than `k` children.
    small_rows : int
        Records in the small groups.
    """

    quasi_identifiers: tuple[str, ...]
    k: int
    smallest: int
    groups: int
    small_groups: int
    small_rows: int

    @property
    def holds(self) -> bool:
        """Whether every record is like those of at least `k` children, its own included."""
        return self.small_groups == 0


def children_alike(frame: pl.DataFrame, child: str) -> pl.Series:
    """Return, for each record, the number of children whose quasi-identifiers it shares.

    Parameters
    ----------
    frame : polars.DataFrame
        One row a record.
    child : str
        Column that names the child: several records of one child are one.
    """
    import polars as pl

    columns = _present(frame.columns)
    if not columns:
        return pl.repeat(frame[child].n_unique(), frame.height, dtype=pl.UInt32, eager=True)
    return frame.select(pl.col(child).n_unique().over(columns)).to_series()


def anonymity(frame: pl.DataFrame, child: str, k: int) -> Anonymity:
    """Check k-anonymity of the columns of `QUASI_IDENTIFIERS` that `frame` holds.

    Parameters as for :func:`children_alike`; `k` is the smallest group wanted.

    References
    ----------
    Sweeney 2002, Int J Uncertainty Fuzziness Knowledge-Based Systems 10:557-570
    (recalled, not retrieved).
    """
    alike = children_alike(frame, child)
    columns = _present(frame.columns)
    small = frame.filter(alike < k)
    count = frame.select(columns).n_unique() if columns else min(frame.height, 1)
    few = small.select(columns).n_unique() if columns else min(small.height, 1)
    smallest = 0 if frame.is_empty() else int(str(alike.min()))
    return Anonymity(columns, k, smallest, count, few if small.height else 0, small.height)


def _present(columns: Sequence[str]) -> tuple[str, ...]:
    return tuple(name for name in QUASI_IDENTIFIERS if name in columns)
