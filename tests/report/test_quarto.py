"""Finding Quarto, and what is said when it is not there, too old or fails.

The program here is a stand-in that answers as the tests need; whether a real one
renders the same sources is in test_reports.py, where one is installed.
"""

import stat
from pathlib import Path

import pytest

from pipeline.errors import RenderError
from pipeline.report import quarto, render


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


def test_format_and_part_are_handed_over(program, tmp_path):
    path = program(f'echo "$@" > {tmp_path}/said')
    qmd = tmp_path / "a.qmd"
    quarto.render_with_quarto(
        quarto.Quarto(path, "1.6.0"), qmd, to="typst", output="a.pdf", footer="f", part="main"
    )
    said = (tmp_path / "said").read_text().strip()
    assert said == "render a.qmd --to typst --output a.pdf -M footer:f -M part:main"


def test_a_version_in_colours_is_read(program):
    path = program(r"printf '\033[1mquarto\033[22m \033[94m1.6.39\033[39m\n'")
    assert quarto.find_quarto() == quarto.Quarto(path, "1.6.39")


@pytest.mark.parametrize(
    ("said", "code", "told"),
    [
        ("template", 1, "NotFound: No such file or directory (os error 2): lstat 'none.html'."),
        ("yaml", 1, "unexpected end of the stream within a flow collection (4:1)."),
        ("typst", 1, "unknown variable: nosuch."),
        ("lua", 0, "(bad.lua:1) no such thing."),  # a filter fails, and Quarto goes on
        (None, 1, "it gave no reason."),
    ],
)
def test_a_failure_gives_the_line_that_quarto_marks(program, tmp_path, said, code, told):
    """What Quarto 1.7.34 said is in quarto_said, recorded; a trace's values are not told."""
    recorded = Path(__file__).parent / "quarto_said" / f"{said}.txt" if said else "/dev/null"
    path = program(f'echo "Traceback: value 4711" >&2; cat {recorded} >&2; exit {code}')
    with pytest.raises(RenderError) as caught:
        quarto.render_with_quarto(
            quarto.Quarto(path, "1.6.0"), tmp_path / "a.qmd", to="html", output="a", footer=""
        )
    assert str(caught.value).endswith(told)
    assert "4711" not in str(caught.value)


def test_quarto_is_given_a_document_whose_cells_have_run(program, tmp_path, monkeypatch):
    """The stand-in copies what it is given: values with colons and hashes never reach it."""
    program('case "$1" in --version) echo 1.6.0;; *) cp "$2" "$6"; echo "$@" >> said; esac')
    source = tmp_path / "source"
    source.mkdir()
    text = '---\ntitle: T\n---\n\n```{python}\n#| tags: [parameters]\nname = ""\n```\n\n'
    text += "```{python}\nfrom pipeline.report.markdown import show\nshow(name)\n```\n\n"
    (source / "a.qmd").write_text(text + "## Appendix {#appendix}\n")
    monkeypatch.setattr(render, "resource", lambda *parts: source / parts[-1])
    monkeypatch.setattr(render, "_ASSETS", ())
    order = render.Order("a", {"name": "2025: Q4 #1"}, tmp_path / "out", "a", with_pdf=True)
    made = render.render(order)
    assert made.renderer == "Quarto 1.6.0"
    assert "2025: Q4 #1" in made.html.read_text()
    assert "{python}" not in made.html.read_text()
    names = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"a.html", "a.pdf", "a-appendix.pdf"} <= names
