"""Both reports as files: whole, inert, traceable, the same for the same records."""

import html as html_text
import json
import re

import jsonschema
import openpyxl
import pypdf
import pytest

from pipeline.errors import NoDataError
from pipeline.measures.catalogue import measures_in_force
from pipeline.report.markdown import gathered
from pipeline.report.numbers import schema
from pipeline.report.page import Page
from pipeline.report.quarter_results import collect_quarter
from pipeline.report.quarterly import QuarterlyReport
from pipeline.report.render import Order, render
from tests.report.conftest import HOSTILE_LABEL, HOSTILE_TITLE, QUARTER

SIX_MIB = 6 * 2**20


def words_of(made):
    """What a reader sees, markup taken away."""
    body = made.html.read_text().partition("<body>")[2]
    return " ".join(html_text.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def test_the_page_is_one_file_without_addresses(made):
    page = made.html.read_text()
    assert made.html.stat().st_size < SIX_MIB
    addresses = re.findall(r'\b(?:src|href)="([^"]*)"', page)
    assert all(a.startswith(("data:", "#")) for a in addresses)
    assert "<script" not in page


def test_what_users_set_is_text(quarterly, comparison):
    for made in (quarterly, comparison):
        page = made.html.read_text()
        assert "<script" not in page
        assert "onerror=alert(1)>" not in page
        assert 'href="http' not in page
        assert HOSTILE_LABEL in words_of(made)
    assert HOSTILE_TITLE in words_of(quarterly)


def test_sections_come_in_their_order(quarterly):
    found = re.findall(r"<h2[^>]*>(.*?)</h2>", quarterly.html.read_text(), flags=re.DOTALL)
    assert [" ".join(title.split()) for title in found] == [
        "This quarter",
        "All measures",
        "All charts",
        "How long catheters stay, and why they come out",
        "Sites side by side",
        "What we tried, and what is to be done",
        "Appendix",
        "Every serious event",
        "Outcomes",
        "Process and balancing measures",
        "Sites and surgeon types",
        "What we tried",
        "How good the data are",
        "Definitions",
        "Methods",
        "Cautions",
    ]


def test_every_measure_has_its_section_its_row_and_its_definition(quarterly):
    page, said = quarterly.html.read_text(), words_of(quarterly)
    for measure in measures_in_force():
        assert f'<section id="{measure.name}"' in page
        assert f'href="#{measure.name}"' in page
        assert measure.numerator.replace("'", "\N{RIGHT SINGLE QUOTATION MARK}") in said


def test_every_figure_has_alternative_text_with_numbers_and_a_caption(made):
    page = made.html.read_text()
    images = re.findall(r"<img[^>]*>", page)
    assert images
    for image in images:
        alt = re.search(r' alt="([^"]*)"', image)
        assert alt, image[:80]
        assert len(alt[1]) > 20 or "not shown" in alt[1]
    figures = re.findall(r"<figure.*?</figure>", page, flags=re.DOTALL)
    assert all("<figcaption>" in figure for figure in figures)


def test_every_table_has_headings_and_a_caption(made):
    tables = re.findall(r"<table.*?</table>", made.html.read_text(), flags=re.DOTALL)
    assert tables
    for table in tables:
        assert "<caption>" in table
        assert "<th" in table


def test_every_link_in_the_page_lands(made):
    page = made.html.read_text()
    ids = set(re.findall(r'\bid="([^"]+)"', page))
    links = set(re.findall(r'href="#([^"]+)"', page))
    assert links <= ids, links - ids


def test_the_numbers_follow_the_published_schema(made):
    document = json.loads((made.folder / "numbers.json").read_text())
    jsonschema.Draft202012Validator(schema()).validate(document)
    ids = [number["id"] for number in document["numbers"]]
    assert len(ids) == len(set(ids))
    for sentence in document["sentences"]:
        assert set(sentence["numbers"]) <= set(ids)


def test_every_sentence_of_the_numbers_stands_in_the_page(quarterly):
    said = words_of(quarterly)
    for sentence in json.loads((quarterly.folder / "numbers.json").read_text())["sentences"]:
        assert " ".join(sentence["text"].split()) in said


def test_the_figures_named_are_the_files_beside_the_page(made):
    named = json.loads((made.folder / "numbers.json").read_text())["figures"]
    assert sorted(named) == sorted(p.name for p in (made.folder / "figures").iterdir())


def test_the_same_records_give_the_same_numbers(quarterly, store_path, tmp_path, monkeypatch):
    """Collected again in another process, without drawing: the same bytes."""
    monkeypatch.setattr(Page, "_save", lambda self, name, _: self._path(name))
    collected = collect_quarter(QUARTER, str(store_path))
    report = QuarterlyReport(collected, tmp_path)
    with gathered():
        report.this_quarter()
        report.all_measures()
        report.all_charts()
        report.time_in_place()
        report.removal_table()
        report.measures("outcome")
        report.measures("process", "balancing")
        report.groups()
        report.tried()
        report.data_quality()
        report.finish("a test")
    again = (tmp_path / "numbers.json").read_bytes()
    assert again == (quarterly.folder / "numbers.json").read_bytes()


def test_the_workbook_has_a_sheet_a_table_and_inert_cells(quarterly):
    book = openpyxl.load_workbook(quarterly.folder / "tables.xlsx")
    assert {"Measures", "Removal", "By site", "By surgeon type", "Changes"} <= set(book.sheetnames)
    for page in book:
        assert page.freeze_panes == "B2"
        for row in page.iter_rows():
            assert all(cell.data_type != "f" for cell in row)
    numbers = [row[5] for row in book["Measures"].iter_rows(min_row=2, values_only=True)]
    assert all(value is None or isinstance(value, int | float) for value in numbers)


def pdfs(made):
    """The PDF of a report, and of its appendix where it has one."""
    appendix = made.pdf.with_name(f"{made.pdf.stem}-appendix.pdf")
    return [pypdf.PdfReader(path) for path in (made.pdf, appendix) if path.exists()]


def test_the_pdf_is_tagged_and_says_what_the_page_says(made):
    headings = re.findall(r"<h2[^>]*>(.*?)</h2>", made.html.read_text())
    found = pdfs(made)
    for pdf in found:
        root = pdf.trailer["/Root"]
        assert root["/MarkInfo"]["/Marked"]
        assert str(root["/Lang"]).startswith("en")
        assert "nerve catheter" in pdf.metadata.title
        width, height = pdf.pages[0].mediabox.width, pdf.pages[0].mediabox.height
        assert (round(float(width)), round(float(height))) == (595, 842)
        assert f"1 of {len(pdf.pages)}" in pdf.pages[0].extract_text()
        assert f"{len(pdf.pages)} of {len(pdf.pages)}" in pdf.pages[-1].extract_text()
    bookmarks = [entry.title for pdf in found for entry in _flat(pdf.outline)]
    assert [title for title in bookmarks if title in headings] == headings
    assert headings[0] in found[0].pages[0].extract_text()
    assert "Local policy and licensed clinicians decide" in found[-1].pages[-1].extract_text()


def test_the_main_part_is_read_in_ten_minutes(quarterly):
    main, appendix = pdfs(quarterly)
    assert len(main.pages) <= 4
    words = [word for page in main.pages for word in page.extract_text().split()]
    assert sum(any(letter.isalpha() for letter in word) for word in words) <= 1500
    assert len(appendix.pages) > len(main.pages)
    first = main.pages[0].extract_text()
    assert first.index("In an emergency") < first.index("What moved")
    assert first.index("What moved") < first.index("What to decide")


def test_both_reports_call_the_same_groups(quarterly, comparison):
    """What page one says of a group is what the comparison says of it."""
    said = [
        {
            (sentence["subject"], sentence["text"])
            for sentence in json.loads((made.folder / "numbers.json").read_text())["sentences"]
            if "would be expected for similar children" in sentence["text"]
        }
        for made in (quarterly, comparison)
    ]
    assert said[0] <= said[1]


def _flat(outline):
    for entry in outline:
        if isinstance(entry, list):
            yield from _flat(entry)
        else:
            yield entry


def test_progress_names_the_sections(quarterly):
    assert quarterly.told[:3] == ("Parameters", "Reading the store", "This quarter")
    assert quarterly.told[-3:] == ("Page", "PDF", "Putting the report into place")


def test_a_report_that_fails_leaves_the_previous_one(quarterly, store_path):
    before = {p: p.read_bytes() for p in quarterly.folder.rglob("*") if p.is_file()}
    parameters = {"quarter": "2031-Q1", "db": str(store_path), "settings": ""}
    order = Order("quarterly", parameters, quarterly.folder, "quarterly", renderer="builtin")
    with pytest.raises(NoDataError, match="No episodes in 2031-Q1: the store holds"):
        render(order)
    assert before == {p: p.read_bytes() for p in quarterly.folder.rglob("*") if p.is_file()}


def test_the_page_says_which_renderer_made_it(made):
    by = "Quarto" if "quarto" in made.folder.name else "the built-in renderer"
    assert f"with {by}" in words_of(made)
