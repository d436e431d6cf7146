"""Whatever the layout allows comes back from the store as it went in (hypothesis)."""

import csv
import io
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from pipeline.records.declaration import Field, Kind
from pipeline.records.layout import EPISODE as LAYOUT
from tests.sizes import part
from tests.store.small import load, rows

# A load takes longer than what is looked for in it: few examples, and more where there is time.
FEW, MANY = (
    settings(max_examples=n, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    for n in (3, part(9))
)
FREE = [
    f
    for f in LAYOUT.fields
    if not f.required and f.name != "removal_reason" and not f.name.startswith("removed_")
]


KEYS = st.integers(0, 99_999).map("k_{:05}".format)  # a form that the screens take


def value_of(field: Field) -> st.SearchStrategy[Any]:
    if field.kind is Kind.KEY:
        return KEYS
    if field.codes is not None:
        return st.sampled_from([code.value for code in field.codes])
    if field.kind is Kind.YES_NO:
        return st.booleans()
    high = 1e6 if field.high is None else field.high
    if field.kind is Kind.INTEGER:
        return st.integers(int(field.low or 0), int(high))
    return st.floats(field.low or 0, high, allow_nan=False)


ROW = st.fixed_dictionaries(
    {
        "removed_h": st.none() | st.floats(0, 336, allow_nan=False),
        **{field.name: st.none() | value_of(field) for field in FREE},
    }
)
ROWS = st.lists(ROW, min_size=1, max_size=6)


def whole(row: dict[str, Any], number: int) -> dict[str, Any]:
    record = {
        "episode_id": f"e{number}", "site": "avocet", "placed_month": "2025-04",
        "month_order": number, "surgeon_type": "sports", "nerve_target": "femoral",
        "planned_dwell_h": 72.0, **row,
    }  # fmt: skip
    return {name: record[name] for name in LAYOUT.columns if name in record}


def spelt(value: Any) -> str:
    if value is None:
        return ""
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def stored(db: Path, columns: list[str]) -> list[dict[str, Any]]:
    found = rows(db, f"select {', '.join(columns)} from episode order by month_order")
    return [dict(zip(columns, row, strict=True)) for row in found]


FORMS = {
    "sent": ROWS,
    "delimiter": st.sampled_from(",;\t|"),
    "end": st.sampled_from(["\n", "\r\n"]),
    "encoding": st.sampled_from(["utf-8", "utf-8-sig", "latin-1"]),
    "quoting": st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL]),
}
LINES = st.lists(st.lists(st.text(max_size=6), max_size=14), max_size=5)


def csv_comes_back(
    sent: list[dict[str, Any]], delimiter: str, end: str, encoding: str, quoting: Any
) -> None:
    records = [whole(row, number) for number, row in enumerate(sent, 1)]
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, lineterminator=end, quoting=quoting)
    writer.writerow(records[0])
    writer.writerows([spelt(value) for value in record.values()] for record in records)
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "episode.csv"
        path.write_bytes(text.getvalue().encode(encoding))
        db = Path(place) / "dwell.duckdb"
        result = load(db, path)
        assert result.faults == ()
        assert stored(db, [*records[0]]) == records
        assert load(db, path).load_id is None


def parquet_comes_back_and_says_the_same_as_csv(sent: list[dict[str, Any]]) -> None:
    records = [whole(row, number) for number, row in enumerate(sent, 1)]
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "episode.parquet"
        pl.DataFrame(records, infer_schema_length=None).write_parquet(path)
        db = Path(place) / "dwell.duckdb"
        assert load(db, path).faults == ()
        assert stored(db, [*records[0]]) == records
        path.unlink()
        lines = [",".join(records[0]), *(",".join(map(spelt, r.values())) for r in records)]
        (Path(place) / "episode.csv").write_text("\n".join(lines) + "\n", "utf-8")
        again = load(db, Path(place) / "episode.csv")
        assert again.files[0].unchanged == len(records)


def nothing_raises_a_traceback_or_is_lost(lines: list[list[str]]) -> None:
    from pipeline.errors import DwellError

    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow([f.name for f in LAYOUT.fields][:12])
    writer.writerows(lines)
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "episode.csv"
        path.write_bytes(text.getvalue().encode("utf-8", "replace"))
        try:
            result = load(Path(place) / "dwell.duckdb", path)
        except DwellError:
            return
        assert all(file.balances() for file in result.files)


test_csv_of_any_form_comes_back = FEW(given(**FORMS)(csv_comes_back))
test_parquet_comes_back = FEW(given(sent=ROWS)(parquet_comes_back_and_says_the_same_as_csv))
test_nothing_is_lost = FEW(given(lines=LINES)(nothing_raises_a_traceback_or_is_lost))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("check", "of"),
    [
        (csv_comes_back, FORMS),
        (parquet_comes_back_and_says_the_same_as_csv, {"sent": ROWS}),
        (nothing_raises_a_traceback_or_is_lost, {"lines": LINES}),
    ],
)
def test_many_more_of_each(check: Callable[..., None], of: dict[str, Any]) -> None:
    MANY(given(**of)(check))()
