"""Every invented record keeps to the one declaration of the records."""

import duckdb
import polars as pl
import pytest

from pipeline.records.declaration import Field, Kind, Record, Rule
from pipeline.records.layout import RECORDS
from synthetic_data.folder import programme_frames
from synthetic_data.generate import Batch
from synthetic_data.scenario import Scenario

DTYPES = {
    Kind.INTEGER: pl.Int32,
    Kind.NUMBER: pl.Float64,
    Kind.YES_NO: pl.Boolean,
}
FIELDS = [
    pytest.param(record, field, id=f"{record.name}.{field.name}")
    for record in RECORDS.values()
    for field in record.fields
]


@pytest.fixture(scope="module")
def everything(made: Batch, scenario: Scenario) -> Batch:
    return made | programme_frames(scenario)


@pytest.mark.parametrize("record", RECORDS.values(), ids=RECORDS.keys())
def test_columns_are_those_of_the_layout_in_its_order(everything: Batch, record: Record):
    assert tuple(everything[record.name].columns) == record.columns


@pytest.mark.parametrize(("record", "field"), FIELDS)
def test_values_keep_to_the_declaration(everything: Batch, record: Record, field: Field):
    values = everything[record.name][field.name]
    if field.required:
        assert values.null_count() == 0
    assert values.null_count() < values.len()
    assert values.dtype == DTYPES.get(field.kind, values.dtype)
    if field.codes is not None:
        assert set(values.drop_nulls().unique()) <= {code.value for code in field.codes}
    if field.low is not None:
        assert values.min() >= field.low
    if field.high is not None:
        assert values.max() <= field.high
    if field.kind is Kind.MONTH:
        assert values.cast(pl.String).str.contains(r"^\d{4}-(0[1-9]|1[0-2])$").all()


@pytest.mark.parametrize("record", RECORDS.values(), ids=RECORDS.keys())
def test_keys_are_unique_and_refer_to_rows_that_are_there(everything: Batch, record: Record):
    frame = everything[record.name]
    for columns in ((record.key,), *record.unique):
        assert not frame.select(columns).is_duplicated().any()
    for field in record.fields:
        if field.refers_to is not None:
            known = everything[field.refers_to][RECORDS[field.refers_to].key].cast(pl.String)
            assert frame[field.name].cast(pl.String).is_in(known.implode()).all()


RULES = [
    pytest.param(record, rule, id=rule.name) for record in RECORDS.values() for rule in record.rules
]


@pytest.mark.parametrize(("record", "rule"), RULES)
def test_rules_across_columns_hold(everything: Batch, record: Record, rule: Rule):
    with duckdb.connect() as database:
        rows = everything[record.name].with_columns(as_of_month=pl.lit("2026-01"))
        database.register("rows", rows.to_arrow())
        query = f"select count(*) from rows where not coalesce({rule.holds}, true)"
        assert database.execute(query).fetchone() == (0,)


def test_every_code_that_a_service_would_meet_is_there(everything: Batch):
    rare = {"unresponsive", "retained_fragment", "lidocaine"}
    for record in RECORDS.values():
        if "episode_id" not in record.columns:
            continue  # what a programme decides is not drawn
        for field in record.fields:
            if field.codes is not None:
                found = set(everything[record.name][field.name].drop_nulls().unique())
                assert {code.value for code in field.codes} - found <= rare
