"""numbers.json follows its published schema and is the same for the same figures."""

import json

import jsonschema
import pytest

from pipeline.report.numbers import Ledger, Number, Sentence, schema


def ledger(**changes):
    values = {
        "report": "quarterly",
        "period": "2025-Q4",
        "fingerprint": "0123456789abcdef",
        "as_of": "2026-01-10",
        "version": "0.1.0",
        "numbers": (
            Number("leakage/2025-Q4", 9.1, "per 100 catheter-days", 12.0, 131.5, 7.2, 11.0, 60, 58),
            Number("falls/2025-Q4", None, "per 1,000 catheter-days"),
        ),
        "sentences": (Sentence("Large.", ("leakage/2025-Q4",), "Leakage", "leakage"),),
        "figures": ("leakage.svg",),
    }
    return Ledger(**values | changes)


def written(tmp_path, made):
    made.write(tmp_path / "numbers.json")
    return json.loads((tmp_path / "numbers.json").read_text())


def test_what_is_written_follows_the_schema(tmp_path):
    jsonschema.validate(written(tmp_path, ledger()), schema())


def test_the_schema_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(schema())


def test_the_same_figures_are_the_same_bytes(tmp_path):
    ledger().write(tmp_path / "a.json")
    ledger().write(tmp_path / "b.json")
    assert (tmp_path / "a.json").read_bytes() == (tmp_path / "b.json").read_bytes()


def test_what_is_not_a_number_is_null(tmp_path):
    made = ledger(numbers=(Number("a", float("nan"), "h", upper=float("inf")),), sentences=())
    row = written(tmp_path, made)["numbers"][0]
    assert row["value"] is None
    assert row["upper"] is None


def test_whole_numbers_are_written_whole(tmp_path):
    made = ledger(numbers=(Number("a", 12.0, "catheters"),), sentences=())
    made.write(tmp_path / "a.json")
    assert '"value": 12,' in (tmp_path / "a.json").read_text()


def test_two_figures_of_one_name_are_refused(tmp_path):
    with pytest.raises(ValueError, match="two figures are called a"):
        ledger(numbers=(Number("a", 1, "h"), Number("a", 2, "h")), sentences=()).write(
            tmp_path / "a"
        )


def test_a_sentence_without_its_figure_is_refused(tmp_path):
    with pytest.raises(ValueError, match="names b"):
        ledger(sentences=(Sentence("x", ("b",)),)).write(tmp_path / "a")
