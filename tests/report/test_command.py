"""`dwell report`: what it asks the renderer for, and its errors before anything is made."""

import pytest
from click.testing import CliRunner

from pipeline.cli.report import _order, report
from pipeline.errors import NoDataError, RenderError, UsageError


def run(*words):
    return CliRunner().invoke(report, [str(word) for word in words])


@pytest.fixture
def asked(tmp_path):
    return {
        "db": tmp_path / "dwell.duckdb",
        "settings": None,
        "out": None,
        "with_pdf": False,
        "renderer": "auto",
    }


def test_a_quarter_without_episodes_is_said_before_anything_is_made(store_path, tmp_path):
    done = run("2031-Q1", "--db", store_path, "--out", tmp_path / "out")
    assert isinstance(done.exception, NoDataError)
    assert "the store holds 2023-Q1 to 2025-Q4" in str(done.exception)
    assert not (tmp_path / "out").exists()


def test_what_is_no_quarter_is_said(store_path):
    assert isinstance(run("2025-13", "--db", store_path).exception, UsageError)


def test_quarto_that_is_asked_for_and_not_there_is_said(store_path, tmp_path, monkeypatch):
    monkeypatch.delenv("QUARTO_PATH", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    done = run("--db", store_path, "--renderer", "quarto", "--out", tmp_path / "out")
    assert isinstance(done.exception, RenderError)


def test_the_quarterly_report_has_a_folder_of_its_quarter(asked):
    order = _order("2025-Q4", by=None, **asked)
    assert (order.document, order.out.name) == ("quarterly", "report-2025-Q4")
    assert order.parameters["db"].startswith("/")


def test_a_comparison_is_named_by_what_it_compares(asked):
    order = _order("2025-Q4", by="surgeon_type", **asked)
    assert (order.document, order.stem) == ("comparison", "comparison-surgeon-type-2025-Q4")
    assert order.parameters["by"] == "surgeon_type"
