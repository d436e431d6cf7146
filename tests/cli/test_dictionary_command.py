"""`dwell dictionary`: everything in the store is described, from one declaration."""

import json

import pytest
from click.testing import CliRunner

from pipeline.cli.main import dwell
from pipeline.errors import UsageError
from pipeline.measures.catalogue import load_catalogue
from pipeline.measures.dictionary import entries
from pipeline.records.layout import RECORDS

VIEWS = [
    "episode_dwell", "contact_tier", "catheter_day", "contact_summary",
    "measure_value", "measure_month", "site_quarter",
]  # fmt: skip


def run(*words):
    done = CliRunner().invoke(dwell, ["dictionary", *words])
    if done.exception is not None:
        raise done.exception
    return done.stdout


def test_it_holds_every_record_view_and_measure():
    names = {entry.name for entry in entries()}
    assert names >= {*RECORDS, *VIEWS, *load_catalogue()}


@pytest.mark.parametrize("name", [*RECORDS, *VIEWS, "setting", "dose_ceiling"])
def test_every_column_is_described(name):
    (entry,) = entries(name)
    assert entry.description
    assert entry.columns
    assert all(column.description.endswith(".") for column in entry.columns)


def test_one_entry_is_printed_by_its_name():
    text = run("episode_dwell")
    assert text.startswith("# episode_dwell\n\nOne row an episode")
    assert "| dwell_h | double |" in text


def test_json_gives_codes_with_their_meaning():
    (record,) = json.loads(run("contact", "--format", "json"))
    leakage = next(c for c in record["columns"] if c["name"] == "leakage")
    assert leakage["codes"][-1] == {
        "code": "large", "meaning": "A large amount; this counts as leakage."
    }  # fmt: skip


def test_an_unknown_name_is_refused():
    with pytest.raises(UsageError, match="no record, view or measure shoe_size"):
        run("shoe_size")
    with pytest.raises(UsageError) as raised:
        run("lekage")
    assert raised.value.try_next == "dwell dictionary leakage"
