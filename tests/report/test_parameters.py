"""What Quarto's own users give to a document: `-P name:value`, or DWELL_DB."""

import shutil

import pytest

from pipeline.errors import StoreError, UsageError
from pipeline.report import parameters
from pipeline.report.builtin import execute
from pipeline.resources import resource


@pytest.fixture
def document(tmp_path):
    """The quarterly report by itself, as in a checkout."""
    return shutil.copyfile(resource("reports", "quarterly.qmd"), tmp_path / "quarterly.qmd")


def test_an_unknown_parameter_is_refused_and_the_nearest_named(document):
    with pytest.raises(UsageError, match="no parameter quater") as raised:
        execute(document, {"quater": "2025-Q4"}, lambda _: None)
    assert "-P quarter:VALUE" in str(raised.value)


def test_a_store_that_is_not_there_is_named_in_full(monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DWELL_DB", raising=False)
    for given, name in (("", "dwell.duckdb"), ("my store.duckdb", "my store.duckdb")):
        with pytest.raises(StoreError) as raised:
            parameters.store_path(given)
        assert str(tmp_path / name) in str(raised.value)


def test_by_itself_it_takes_the_store_of_the_variable_and_makes_one_folder(
    document, store_path, monkeypatch
):
    monkeypatch.setenv("DWELL_DB", str(store_path))
    source = document.read_text()
    left_out = slice(
        source.index("## How long"), source.index("```{python}\n#| label: show-finish")
    )
    document.write_text(source.replace(source[left_out], ""))  # the front and the end are enough
    text = execute(document, {}, lambda _: None)
    made = document.parent / "_made"
    assert "](_made/figures/panel-leakage.svg)" in text
    assert {path.name for path in document.parent.iterdir()} == {"quarterly.qmd", "_made"}
    assert {path.name for path in made.iterdir()} == {"figures", "numbers.json", "tables.xlsx"}
    assert "October to December 2025" in text  # the latest quarter
