"""Finding Quarto, and what is said when it is not there, too old or fails.

The program here is a stand-in that answers as the tests need; whether a real one
renders the same sources is in test_reports.py, where one is installed.
"""

import stat

import pytest

from pipeline.errors import RenderError
from pipeline.report import quarto


@pytest.fixture
def program(tmp_path, monkeypatch):
    def make(body):
        path = tmp_path / "quarto"
        path.write_text(f"#!/bin/sh\n{body}\n")
        path.chmod(path.stat().st_mode | stat.S_IXUSR)
        monkeypatch.setenv("QUARTO_PATH", str(path))
        return path

    return make


def test_it_is_found_by_its_variable(program):
    path = program("echo 1.6.39")
    assert quarto.find_quarto() == quarto.Quarto(path, "1.6.39")


def test_it_is_found_on_the_path(program, monkeypatch):
    path = program("echo 1.4.0")
    monkeypatch.delenv("QUARTO_PATH")
    monkeypatch.setenv("PATH", str(path.parent), prepend=":")
    assert quarto.find_quarto() == quarto.Quarto(path, "1.4.0")


def test_without_one_there_is_none_and_asking_for_it_says_how(monkeypatch, tmp_path):
    monkeypatch.delenv("QUARTO_PATH", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    assert quarto.find_quarto() is None
    with pytest.raises(RenderError, match=r"not installed[\s\S]*make quarto"):
        quarto.require_quarto()


def test_a_variable_that_names_nothing_is_said(monkeypatch, tmp_path):
    monkeypatch.setenv("QUARTO_PATH", str(tmp_path / "absent"))
    with pytest.raises(RenderError, match="QUARTO_PATH names no program"):
        quarto.find_quarto()


@pytest.mark.parametrize("version", ["1.3.450", "0.9.1"])
def test_an_old_one_is_refused(program, version):
    program(f"echo {version}")
    with pytest.raises(RenderError, match=f"Quarto {version} is too old"):
        quarto.find_quarto()


@pytest.mark.parametrize("body", ["echo no version", "exit 3"])
def test_one_that_does_not_answer_is_refused(program, body):
    program(body)
    with pytest.raises(RenderError, match="does not answer with a version"):
        quarto.find_quarto()


def test_parameters_and_format_are_handed_over(program, tmp_path):
    path = program(f'echo "$@" > {tmp_path}/said; echo "$QUARTO_PYTHON" >> {tmp_path}/said')
    qmd = tmp_path / "a.qmd"
    quarto.render(
        quarto.Quarto(path, "1.6.0"),
        qmd,
        {"quarter": "2025-Q4"},
        to="typst",
        output="a.pdf",
        footer="f",
    )
    said, python = (tmp_path / "said").read_text().splitlines()
    assert said == "render a.qmd --to typst --output a.pdf -M footer:f -P quarter:2025-Q4"
    assert "python" in python


def test_a_module_that_quarto_lacks_is_named(program, tmp_path):
    path = program("echo \"ModuleNotFoundError: No module named 'papermill'\" >&2; exit 1")
    with pytest.raises(RenderError, match="has no papermill"):
        quarto.render(
            quarto.Quarto(path, "1.6.0"), tmp_path / "a.qmd", {}, to="html", output="a", footer=""
        )


def test_a_version_in_colours_is_read(program):
    path = program(r"printf '\033[1mquarto\033[22m \033[94m1.6.39\033[39m\n'")
    assert quarto.find_quarto() == quarto.Quarto(path, "1.6.39")


def test_a_failure_gives_the_error_of_ours_and_no_traceback(program, tmp_path):
    path = program(
        'echo "Traceback: value 4711" >&2; '
        'echo "pipeline.errors.NoDataError: No episodes in 2031-Q1." >&2; exit 1'
    )
    with pytest.raises(RenderError, match="No episodes in 2031-Q1") as caught:
        quarto.render(
            quarto.Quarto(path, "1.6.0"), tmp_path / "a.qmd", {}, to="html", output="a", footer=""
        )
    assert "4711" not in str(caught.value)
