"""How one site's export is mapped onto the layout, from a TOML file.

    name = "curlew, ward system"

    [episode]                     # one table a record
    file = "placements*.csv"      # the one file that this pattern finds
    delimiter = ";"
    encoding = "latin-1"
    decimal = ","
    clock = "%d.%m.%Y %H:%M"      # how clock times are written
    missing = ["n/a"]             # spellings of nothing
    yes = ["J"]
    no = ["N"]
    ignore = ["Ward"]             # never read, never stored

    [episode.columns]             # column of the layout = where it comes from
    episode_id = "Case"
    site = { constant = "curlew" }
    weight_kg = { column = "Weight", unit = "lb" }
    surgeon_type = { column = "Team", values = { sports = ["Knee", "Shoulder"] } }
    placed_month = { column = "Placed", take = "month" }
    removed_h = { column = "Removed", since = "Placed" }

A column that is already named as in the layout needs no line.
"""

from collections.abc import Mapping as Dict
from dataclasses import dataclass, field

TAKES = {"month": "placed_month", "hour": "placed_hour", "order": "month_order"}
LISTS = ("missing", "yes", "no", "ignore")  # several texts; every other value is one
ISO_CLOCK = "%Y-%m-%d %H:%M"


@dataclass(frozen=True)
class ColumnMapping:
    """Where one column of the layout comes from.

    Attributes
    ----------
    column : str, optional
        Column of the export.
    constant : str, optional
        The same value in every row.
    unit : str, optional
        Unit of the export, turned into that of the layout.
    values : mapping of str to tuple of str
        By code of the layout: the spellings that mean it.
    yes, no : tuple of str
        Spellings of yes and no, besides those of the whole file.
    since : str, optional
        Column of a clock time; the value is the hours from it to `column`.
    years_since : str, optional
        Column of a date; the value is the whole years from it to `column`.
    take : str, optional
        What is taken of the clock time in `column`: month, hour, or order (of
        placement, among the rows of the file, within month and site).
    form : str, optional
        Form that every key of the column has: A a letter, 9 a digit, X either.
    """

    column: str | None = None
    constant: str | None = None
    unit: str | None = None
    values: Dict[str, tuple[str, ...]] = field(default_factory=dict)
    yes: tuple[str, ...] = ()
    no: tuple[str, ...] = ()
    since: str | None = None
    years_since: str | None = None
    take: str | None = None
    form: str | None = None

    @property
    def clocks(self) -> tuple[str, ...]:
        """Columns of clock times or dates that are read and then dropped."""
        found = [name for name in (self.since, self.years_since) if name]
        if self.column and (found or self.take):
            found.insert(0, self.column)
        return tuple(found)

    @property
    def sources(self) -> tuple[str, ...]:
        """Columns of the export that are read."""
        return self.clocks or ((self.column,) if self.column else ())


@dataclass(frozen=True)
class RecordMapping:
    """How one file of the export becomes one record."""

    record: str
    file: str
    columns: Dict[str, ColumnMapping]
    delimiter: str | None = None
    encoding: str | None = None
    sheet: str | None = None
    decimal: str = "."
    clock: str = ISO_CLOCK
    missing: tuple[str, ...] = ()
    yes: tuple[str, ...] = ()
    no: tuple[str, ...] = ()
    ignore: tuple[str, ...] = ()


@dataclass(frozen=True)
class Mapping:
    """A site's mapping; `digest` identifies its text."""

    name: str
    text: str
    digest: str
    records: Dict[str, RecordMapping]
