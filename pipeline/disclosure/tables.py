"""The usual tables entered in a ledger: measures by group or period, numbers in place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from pipeline.disclosure.ledger import Key, Ledger
from pipeline.disclosure.policy import Policy

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class WithheldRows:
    """What of each row is withheld.

    Attributes
    ----------
    figures : bool array, shape (rows,)
        The numerator and all that is worked out from it: rate, limits, ratio,
        shrunken estimate, point of a plot.
    episodes : bool array, shape (rows,)
        The number of episodes, and the denominator with it.
    """

    figures: Bools
    episodes: Bools


def enter_rows(
    ledger: Ledger,
    measure: Key,
    groups: Sequence[Key],
    *,
    with_event: ArrayLike,
    episodes: ArrayLike,
    is_proportion: bool,
    children: tuple[ArrayLike, ArrayLike] | None = None,
    family: Key = "",
) -> None:
    """Enter one measure's rows, which together make a whole, in a ledger.

    Parameters
    ----------
    ledger : Ledger
        Where to.
    measure, family : hashable
        Name the table: rows of two families (by site, by surgeon type) of one
        measure and period add up to the same whole.
    groups : sequence of hashable
        One a row.
    with_event, episodes : array_like, shape (rows,)
        Episodes with at least one event, and episodes whose numerator is known.
    is_proportion : bool
        Whether those without the event can be read off the row as well.
    children : tuple of array_like, each of shape (rows,), optional
        The least number of children that those with an event can be of, and that all
        can be of; as many as there are episodes unless given.
    """
    counts = np.asarray(with_event, float), np.asarray(episodes, float)
    columns = _columns(*counts, is_proportion=is_proportion)
    few = _columns(*(children or counts), is_proportion=is_proportion)
    for column, values in columns.items():
        is_few = ledger.policy.is_few(values, few[column])
        for group, value, secret in zip(groups, values, is_few, strict=True):
            key = (measure, family, group, column)
            ledger.count(key, float(value), is_secret=bool(secret))
        # The whole network's figure stands in other tables.
        ledger.count((measure, "whole", column), float(values.sum()), sight="known")
        ledger.adds_up(
            (measure, "whole", column), [(measure, family, group, column) for group in groups]
        )
    if is_proportion:
        for group in groups:
            row = (measure, family, group)
            ledger.adds_up((*row, "all"), [(*row, "event"), (*row, "none")])
        ledger.adds_up(
            (measure, "whole", "all"), [(measure, "whole", "event"), (measure, "whole", "none")]
        )


def _columns(
    with_event: ArrayLike, episodes: ArrayLike, *, is_proportion: bool
) -> dict[str, NDArray[np.float64]]:
    """Return what can be read off a row."""
    events, whole = np.asarray(with_event, float), np.asarray(episodes, float)
    return {"event": events, "all": whole} | ({"none": whole - events} if is_proportion else {})


def rows_withheld(
    hidden: frozenset[Key], measure: Key, groups: Sequence[Key], *, family: Key = ""
) -> WithheldRows:
    """Read the rows of :func:`enter_rows` off what a ledger withholds."""

    def has(group: Key, column: str) -> bool:
        return (measure, family, group, column) in hidden

    episodes = np.array([has(group, "all") for group in groups], bool)
    figures = np.array([has(g, "event") or has(g, "none") for g in groups], bool)
    return WithheldRows(figures | episodes, episodes)


def withheld_rows(
    policy: Policy,
    *,
    with_event: ArrayLike,
    episodes: ArrayLike,
    is_proportion: bool,
    children: tuple[ArrayLike, ArrayLike] | None = None,
) -> WithheldRows:
    """Say what to withhold of one table's rows, the sum of the rows being known.

    Parameters as for :func:`enter_rows`.
    """
    ledger = Ledger(policy)
    groups = range(np.asarray(episodes).size)
    enter_rows(
        ledger,
        "",
        groups,
        with_event=with_event,
        episodes=episodes,
        is_proportion=is_proportion,
        children=children,
    )
    return rows_withheld(ledger.withheld(), "", groups)


def withheld_at_risk(policy: Policy, at_risk: ArrayLike, *, has_total: bool = False) -> Bools:
    """Say which numbers still in place to withhold under a plot of time in place.

    Neither a number from 1 to one below the threshold is shown, nor two numbers of
    a group whose difference (those removed in between) is one.

    Parameters
    ----------
    policy : Policy
        With the threshold.
    at_risk : array_like of int, shape (groups, hours)
        Falling along each row.
    has_total : bool
        Whether the whole network's numbers are shown besides the groups'.

    Returns
    -------
    bool array, shape (groups, hours); with one more row, the total's, if `has_total`
    """
    numbers = np.atleast_2d(np.asarray(at_risk, float))
    if has_total:
        numbers = np.vstack([numbers, numbers.sum(axis=0)])
    hidden = np.array([_too_close(policy, row) for row in numbers])
    if has_total:
        groups = range(len(numbers) - 1)
        ledger = Ledger(policy)
        for k in np.flatnonzero(~hidden[-1]).tolist():
            ledger.count(("all", k), numbers[-1, k], sight="known")
            for g in groups:
                ledger.count((g, k), numbers[g, k], is_secret=bool(hidden[g, k]))
            ledger.adds_up(("all", k), [(g, k) for g in groups])
        withheld = ledger.withheld()
        for g in groups:
            hidden[g] |= [(g, k) in withheld for k in range(numbers.shape[1])]
    return hidden


def _too_close(policy: Policy, row: NDArray[np.float64]) -> list[bool]:
    """Hide what is small, or less than the threshold below the last number shown."""
    hidden: list[bool] = []
    last = row[0]
    for number in row:
        hidden.append(bool(policy.is_small([number, last - number]).any()))
        last = last if hidden[-1] else number
    return hidden
