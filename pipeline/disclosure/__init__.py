"""The one door out: counts of few children are withheld from what is shared.

A count from 1 to one below the threshold is not shown, nor is any other count
that would give it away by subtraction. Every table, figure, row of numbers still
in place, and export that leaves the committee's own copy is entered in one
:class:`Ledger`, so that two tables of one report cannot be played against each
other. What a withheld count was used for (its rate, limits, ratio, point) is
withheld with it.
"""

from pipeline.disclosure.curves import Readable, readable
from pipeline.disclosure.ledger import Key, Ledger, Sight
from pipeline.disclosure.policy import CONFIDENTIAL, WITHHELD, Audience, Policy
from pipeline.disclosure.tables import (
    WithheldRows,
    enter_rows,
    rows_withheld,
    withheld_at_risk,
    withheld_rows,
)

__all__ = [
    "CONFIDENTIAL",
    "WITHHELD",
    "Audience",
    "Key",
    "Ledger",
    "Policy",
    "Readable",
    "Sight",
    "WithheldRows",
    "enter_rows",
    "readable",
    "rows_withheld",
    "withheld_at_risk",
    "withheld_rows",
]
