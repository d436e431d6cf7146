"""Records that stay where they are: the store's own SQL, run by the engine that holds them.

What an engine is asked for is counts. Nothing is written there but temporary views and
tables, which go with the connection.
"""

import os
import re
from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from pipeline.errors import InputError
from pipeline.records.declaration import SQL_TYPE
from pipeline.records.layout import RECORDS
from pipeline.settings import Settings
from pipeline.store.kept_ready import READY, ready
from pipeline.store.row_fit import fits, repeated
from pipeline.store.session import Parameters, Store
from pipeline.store.settings_tables import settings_selects
from pipeline.store.views import view_selects

if TYPE_CHECKING:
    import polars as pl

Found = TypeVar("Found")

# Views that all others and the measures read: the engine makes them once.
_KEPT = ("contact_finding", *READY)
_FAMILIES = {
    "text": re.compile("char|string|text", re.IGNORECASE),
    "yes or no": re.compile("bool", re.IGNORECASE),
    "a number": re.compile("int|long|short|double|float|real|decimal|numeric", re.IGNORECASE),
}


class Platform(Store):
    """The records of a network in an engine, which answers as a store does.

    An engine brings a connection (`ask`), the tables that it holds (`columns`, `source`) and,
    where its SQL differs from the store's own, a translation.

    Attributes
    ----------
    name : str
        What messages call the engine.
    dialect : str
        What sqlglot calls its SQL.
    keeps : str
        How it makes a table for the session.
    text_order : str
        What makes it order texts by their code points, where it would not.
    """

    connection: Any  # of the engine
    holds_counts = False  # but what they are made from
    name: ClassVar[str]
    dialect: ClassVar[str] = "duckdb"
    text_order: ClassVar[str] = ""
    keeps: ClassVar[str] = "create temp table {name} as {select}"

    def ask(self, sql: str) -> "pl.DataFrame":
        """Run one statement in the engine's own words; what is no select gives no rows."""
        raise NotImplementedError

    def columns(self, record: str) -> dict[str, str] | None:
        """Return the types of the columns of a record's table; None where there is none."""
        raise NotImplementedError

    def source(self, record: str) -> str:
        """Return SQL of what the rows of a record's table are selected from."""
        raise NotImplementedError

    def translated(self, sql: str) -> str:
        """Return SQL of ours in the engine's words."""
        if self.dialect == "duckdb":
            return sql
        import sqlglot

        return sqlglot.transpile(sql, read="duckdb", write=self.dialect)[0]

    def frame(self, sql: str, params: Parameters = None) -> "pl.DataFrame":
        """Run one select of ours and return its rows.

        Raises
        ------
        InputError
            The engine cannot run it.
        """
        if params:
            raise AssertionError("an engine is asked with values in the text")
        return self._run(lambda: self.ask(self.translated(sql)))

    def rows(self, sql: str, params: Parameters = None) -> list[tuple[Any, ...]]:
        """Run one select of ours and return its rows as tuples; raises as `frame` does."""
        return self.frame(sql, params).rows()

    def view(self, name: str, select: str) -> None:
        """Name a select of ours, for the rest of the session."""
        self._run(
            lambda: self.ask(f"create or replace temp view {name} as {self.translated(select)}")
        )

    def keep(self, name: str, select: str) -> None:
        """Make a table of a select of ours, for the rest of the session."""
        self._run(lambda: self.ask(self.keeps.format(name=name, select=self.translated(select))))

    def _run(self, ask: Callable[[], Found]) -> Found:
        try:
            return ask()
        except Exception as error:  # its text can quote a record
            if os.environ.get("DWELL_DEBUG"):
                raise
            raise InputError(
                f"{self.name} could not answer ({type(error).__name__}): nothing was written.",
                try_next="the log of the engine",
            ) from None

    def prepare(self, as_of_month: str, settings: Settings) -> dict[str, int]:
        """Bring the records under the names of the layout, and make the views on them.

        Parameters
        ----------
        as_of_month : str
            Month of extraction, YYYY-MM.
        settings : Settings
            What rules in SQL read.

        Returns
        -------
        dict of str to int
            By record the rows that are left out since they break a rule of the layout.

        Raises
        ------
        InputError
            A table or column is missing or of another type, or rows are repeated.
        """
        left_out = {}
        for name, record in RECORDS.items():
            found, good = self._run(partial(self.columns, name)), fits(record, as_of_month)
            self.view(f"sent_{name}", self._as_declared(name, found))
            self.view(name, f"select * from sent_{name} where {good}")
            if found is not None:
                left_out[name] = self._left_out(name, good)
        if self.columns("site") is None:  # as in a load
            self.view("site", "select distinct site, site as label,"
                      " cast(null as varchar) as opened_month from episode")  # fmt: skip
        self.make_views(settings)
        return left_out

    def make_views(self, settings: Settings) -> None:
        """Make the store's views on the records, under these settings."""
        for name, select in (dict(view_selects()) | settings_selects(settings)).items():
            (self.keep if name in _KEPT else self.view)(name, select)
        for name in READY:
            self.view(ready(name), f"select * from {name}")

    def _left_out(self, name: str, good: str) -> int:
        """Count the rows that break a rule; refuse those that stand twice."""
        for columns in (record_key := (RECORDS[name].key,), *RECORDS[name].unique):
            ((again,),) = self.rows(repeated(name, columns))
            if again:
                what = "key" if columns == record_key else " and ".join(columns)
                raise InputError(
                    f"Table {name}: {again:,} rows have the same {what} as another.",
                    try_next="again when each stands once, as it is known now",
                )
        ((left,),) = self.rows(
            f"select count(*) - count(case when {good} then 1 end) from sent_{name}"
        )
        return int(left)

    def _as_declared(self, name: str, found: dict[str, str] | None) -> str:
        """Return SQL of a record's rows in the columns and types of the layout."""
        record = RECORDS[name]
        if found is None and record.required_file:
            raise InputError(f"There is no table {name} among the records.")
        values = []
        for field in record.fields:
            type_, there = SQL_TYPE[field.kind], (found or {}).get(field.name)
            if there is None and found is not None and field.required:
                raise InputError(f"Table {name} has no column {field.name}.")
            if there is not None and _family(there) != _family(type_):
                raise InputError(
                    f"Column {field.name} of table {name} must hold {_family(type_)}"
                    f" and holds {_family(there) or 'something else'}."
                )
            value = "null" if there is None else field.name
            order = self.text_order if _family(type_) == "text" else ""
            values.append(f"cast({value} as {type_}) {order} as {field.name}")
        of = "where false" if found is None else f"from {self.source(name)}"
        return f"select {', '.join(values)} {of}"


def _family(type_: str) -> str:
    return next((name for name, words in _FAMILIES.items() if words.search(type_)), "")
