"""What a family does in an emergency is said in the same words everywhere."""

from pathlib import Path

import pytest

from pipeline.report.definitions import CAUTIONS
from pipeline.words.cautions import CALL_NOW, EMERGENCY, FOR_FAMILIES

ROOT = Path(__file__).parents[1]
DOCUMENTS = ["README.md", *[f"docs/guide/{p.name}" for p in (ROOT / "docs/guide").glob("*.md")]]


@pytest.mark.parametrize("name", DOCUMENTS)
def test_readme_and_guides_say_it_in_the_same_words(name: str) -> None:
    text = " ".join((ROOT / name).read_text("utf-8").split())
    for sentence in FOR_FAMILIES:
        assert sentence in text


def test_reports_say_it_in_the_same_words() -> None:
    assert set(FOR_FAMILIES) <= set(CAUTIONS)


def test_an_emergency_closes_the_clamp_and_calls_for_help_and_says_why() -> None:
    for words in ("fit", "breathing", "blue", "hard to wake", "close the clamp",
                  "emergency number", "local anaesthetic is running"):  # fmt: skip
        assert words in EMERGENCY
    for words in ("Ringing ears", "metal taste", "close the clamp", "call the service now"):
        assert words in CALL_NOW
