"""Rows set aside: list them, and export them in the layout in which they were sent."""

import csv
import json
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.errors import NoDataError, UsageError
from pipeline.outputs import spreadsheet_text, written_beside
from pipeline.records.binding import CONFIRMED, PROBLEM, SET_ASIDE_ID
from pipeline.store.session import Store

if TYPE_CHECKING:
    import polars as pl


def rows_set_aside(
    store: Store, *, record: str | None = None, file: str | None = None
) -> "pl.DataFrame":
    """Return the rows set aside now.

    Columns: `set_aside_id`, `load_id`, `record`, `file`, `row`, `column`, `rule`, `questioned`.
    """
    return store.frame(
        "select s.set_aside_id, s.load_id, s.record, f.file_name as file, s.source_row as row,"
        " s.column_name as column, s.rule, s.questioned"
        f" {_OPEN} order by s.set_aside_id",
        {"record": record, "file": file},
    )


_OPEN = (
    "from set_aside s join load_file f using (file_id) where s.cleared_by is null"
    " and ($record is null or s.record = $record) and ($file is null or f.file_name = $file)"
)


def export_rejects(
    store: Store, path: Path, *, record: str | None = None, file: str | None = None
) -> int:
    """Write the rows set aside to a CSV file, as they were sent; return how many.

    Three columns come first: the row's number among those set aside, what is wrong
    with it, and `confirmed`, to be answered ``yes`` where a questioned value is right.

    Raises
    ------
    NoDataError
        No rows are set aside.
    UsageError
        The rows are of several layouts: one has to be chosen.
    RenderError
        The file cannot be written.
    """
    rows = store.rows(
        "select s.set_aside_id, s.column_name, s.rule, s.raw, s.record, f.file_name"
        f" {_OPEN} order by s.set_aside_id",
        {"record": record, "file": file},
    )
    if not rows:
        raise NoDataError("No rows are set aside.")
    sent = [json.loads(raw) for *_, raw, _record, _file in rows]
    layouts = {(row[4], tuple(cells)) for row, cells in zip(rows, sent, strict=True)}
    if len(layouts) > 1:
        found = ", ".join(sorted({f"{row[5]} ({row[4]})" for row in rows}))
        raise UsageError(
            f"Rows of several layouts are set aside: {found}.",
            try_next="--file NAME or --record NAME to choose one",
        )
    header = [SET_ASIDE_ID, PROBLEM, CONFIRMED, *sent[0]]
    with written_beside(path) as part, part.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(header)
        for (number, column, rule, *_), cells in zip(rows, sent, strict=True):
            problem = f"{column}: {rule}" if column else rule
            texts = ("" if cell is None else spreadsheet_text(cell) for cell in cells.values())
            writer.writerow([number, problem, "", *texts])
    return len(rows)
