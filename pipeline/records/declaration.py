"""What a record is declared with: columns of a kind, rules, records."""

from dataclasses import dataclass
from enum import StrEnum

from pipeline.records.codes import Code


class Kind(StrEnum):
    """What a column holds, and how it is written in a CSV file."""

    KEY = "opaque key"  # text that must identify nobody; screened
    CODE = "code"  # one of a closed vocabulary, or a code listed in another record
    TEXT = "text"  # printed text set by the programme, such as a site's label
    INTEGER = "integer"
    NUMBER = "number"
    YES_NO = "yes/no"
    MONTH = "month"  # YYYY-MM
    LIST = "list"  # codes separated by semicolons


# How each kind is stored. Months stay text: they sort, and no day can creep in.
SQL_TYPE: dict[Kind, str] = {
    Kind.KEY: "varchar",
    Kind.CODE: "varchar",
    Kind.TEXT: "varchar",
    Kind.INTEGER: "integer",
    Kind.NUMBER: "double",
    Kind.YES_NO: "boolean",
    Kind.MONTH: "varchar",
    Kind.LIST: "varchar",
}


@dataclass(frozen=True)
class Field:
    """One column of a record.

    `low` and `high` are inclusive bounds in `unit`; `codes` is the closed
    vocabulary; `refers_to` names the record whose key the value must be.
    """

    name: str
    kind: Kind
    description: str
    required: bool = False
    codes: type[Code] | None = None
    low: float | None = None
    high: float | None = None
    unit: str | None = None
    refers_to: str | None = None


@dataclass(frozen=True)
class Rule:
    """A rule over several columns of one row.

    `holds` is plain SQL over the row's columns; a row where it is false is set
    aside under `name`. A null (something needed is missing) counts as holding.
    `column` is the column that the message points at. `as_of_month` stands for the
    month in which the records were extracted. A row that breaks a `questioned` rule
    is loaded once somebody has confirmed it.
    """

    name: str
    column: str
    holds: str
    description: str
    questioned: bool = False


@dataclass(frozen=True)
class Record:
    """One kind of record: a file on the way in, a table in the store."""

    name: str
    grain: str
    key: str
    fields: tuple[Field, ...]
    rules: tuple[Rule, ...] = ()
    unique: tuple[tuple[str, ...], ...] = ()
    required_file: bool = False

    def field(self, name: str) -> Field:
        """Return the column called `name`; `KeyError` where there is none."""
        for field in self.fields:
            if field.name == name:
                return field
        raise KeyError(name)

    @property
    def columns(self) -> tuple[str, ...]:
        """Column names in the order of the layout."""
        return tuple(field.name for field in self.fields)
