"""One column of a site's export, and what its values look like."""

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, partial

from pipeline.records.hints import CLOCK_FORMATS, MISSING

MOSTLY = 0.8  # of the distinct values of a column; the others may mean that nothing is known
NUMBER = re.compile(r"[-+]?[0-9]+([.,][0-9]+)?")


@dataclass(frozen=True)
class ExportColumn:
    """One column of an export: its name and its distinct values, no more than asked for."""

    name: str
    values: tuple[str, ...]
    looks_private: bool = False  # a value breaks a screen

    @cached_property
    def known(self) -> tuple[str, ...]:
        """Values that are no usual spelling of nothing."""
        return tuple(value for value in self.values if value.lower() not in MISSING)

    @cached_property
    def clock(self) -> str | None:
        """How its clock times are written; None where most values are no clock times."""
        fitting = (f for f in CLOCK_FORMATS if self.mostly(partial(_parses, form=f)))
        return next(fitting, None)

    @property
    def is_number(self) -> bool:
        """Whether most values are numbers, with a point or a comma."""
        return self.mostly(lambda value: NUMBER.fullmatch(value) is not None)

    @property
    def odd(self) -> tuple[str, ...]:
        """Values that do not fit where most are clock times or numbers."""
        form = self.clock
        if form is not None:
            return tuple(value for value in self.known if not _parses(value, form))
        return tuple(v for v in self.known if not NUMBER.fullmatch(v)) if self.is_number else ()

    def mostly(self, fits: Callable[[str], bool]) -> bool:
        """Whether most known values fit."""
        return bool(self.known) and sum(map(fits, self.known)) >= MOSTLY * len(self.known)

    @property
    def is_private(self) -> bool:
        """Whether a value looks like a name, an address or a number of one person."""
        return self.clock is None and self.looks_private


def _parses(value: str, form: str) -> bool:
    try:
        return bool(dt.datetime.strptime(value, form))
    except ValueError:
        return False
