"""docs/dictionary.md is what `dwell dictionary` prints."""

from pathlib import Path

from pipeline.measures.dictionary import as_markdown, entries

DOCUMENT = Path(__file__).parents[1] / "docs" / "dictionary.md"


def test_the_document_is_the_dictionary():
    text = DOCUMENT.read_text(encoding="utf-8")
    assert text == as_markdown(entries()) + "\n", "run: dwell dictionary > docs/dictionary.md"
