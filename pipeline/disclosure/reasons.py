"""Reasons with few children are counted together, so that incidences still add to one."""

from __future__ import annotations

from collections.abc import Mapping

from pipeline.disclosure.policy import Policy

RARE = "rare"  # the name under which they stand


def rare_reasons(policy: Policy, totals: Mapping[str, int]) -> tuple[str, ...]:
    """Return the reasons of a group to count together, so that no small count can be read.

    The smallest of the others joins them where all of them together are still few.

    Parameters
    ----------
    policy : Policy
        With the threshold.
    totals : mapping of str to int
        Catheters removed by reason.
    """
    rare = [reason for reason, n in totals.items() if bool(policy.is_small(n))]
    others = sorted((n, reason) for reason, n in totals.items() if n and reason not in rare)
    while rare and others and sum(totals[reason] for reason in rare) < policy.threshold:
        rare.append(others.pop(0)[1])
    return tuple(sorted(rare))
