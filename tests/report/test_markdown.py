"""Text set by users stays text in every format that the report is made in."""

import subprocess

import pypandoc
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.report import markdown
from pipeline.report.builtin import MARKDOWN

HOSTILE = [
    "<script>alert(1)</script>",
    "[link](http://example.org)",
    "![image](http://example.org/x.png)",
    "**bold** _under_ `code` ~~out~~",
    "a | b | c",
    "$x^2$ and \\(y\\)",
    "{{< include secret.txt >}}",
    "{python} 1+1",
    "# heading",
    "1. list",
    "- list",
    "> quote",
    "::: {.x}",
    "```{python}\nimport os\n```",
    "@fig-one; and [@tbl-two]",
    "&lt;b&gt; &amp; <!-- gone -->",
    "\"quotes\" 'single' -- --- ...",
    "line one\nline two\r\n\r\nline three",
    '#figure(image("x")) #eval("1")',
    "\N{RIGHT-TO-LEFT OVERRIDE}abc\x00def",
    "=1+1",
]


def pandoc(text, to):
    done = subprocess.run(
        [pypandoc.get_pandoc_path(), "-f", MARKDOWN, "-t", to, "--wrap=none"],
        input=text,
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


def plain(value):
    shown = "".join(c for c in " ".join(value.split()) if c.isprintable())
    return " ".join(shown.split())


@pytest.mark.parametrize("value", HOSTILE)
def test_a_users_string_reads_back_as_it_was(value):
    assert " ".join(pandoc(markdown.text(value), "plain").split()) == plain(value)


@pytest.mark.parametrize("value", HOSTILE)
def test_a_users_string_makes_no_element(value):
    html = pandoc(markdown.text(value), "html")
    assert html.count("<") == 2, html  # the paragraph's own tags
    assert html.startswith("<p>")


def test_a_table_with_hostile_cells_keeps_its_shape():
    columns = [markdown.TableColumn("Site"), markdown.TableColumn("Rate", is_number=True)]
    rows = [[markdown.text(value), "1"] for value in HOSTILE]
    html = pandoc(markdown.table(columns, rows, "Rates | by site"), "html")
    assert html.count("<tr>") == len(HOSTILE) + 1
    assert html.count("<td") == 2 * len(HOSTILE)
    assert "<script" not in html
    assert "<caption>Rates | by site</caption>" in html


@pytest.mark.parametrize("value", HOSTILE)
def test_alternative_text_cannot_break_out_of_its_attribute(value):
    html = pandoc(markdown.figure_block("a.svg", "Method.", value, 13), "html")
    assert html.count("<img") == 1
    assert "<script" not in html
    assert "data-fig-alt" in html or "fig-alt" in html


@settings(max_examples=25, deadline=None)
@given(st.text(st.characters(codec="utf-8"), min_size=1, max_size=40))
def test_any_string_makes_at_most_a_paragraph(value):
    html = pandoc("x " + markdown.text(value), "html")
    assert html.count("<") == 2


def test_our_own_prose_stays_readable_in_the_source():
    sentence = "The rate (9.1 per 100 catheters) is 4% higher; see below."
    assert markdown.prose(sentence) == sentence


def test_our_own_prose_cannot_start_a_list():
    assert pandoc(markdown.prose("2025. A year"), "html") == "<p>2025. A year</p>\n"
    assert pandoc(markdown.prose("- 5 degrees"), "html") == "<p>- 5 degrees</p>\n"
