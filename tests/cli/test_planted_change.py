"""The planted securement change (synthetic_data/README.md) shows on the control chart."""

import json
from pathlib import Path

from click.testing import CliRunner

from pipeline.cli.main import dwell

STARTED = "2024-07"


def test_a_common_outcome_is_explained_on_the_scale_of_risks(demonstration: Path) -> None:
    words = ["change", "securement", "--db", str(demonstration / "dwell.duckdb"), "--quiet"]
    said = {
        measure: CliRunner().invoke(dwell, [*words, "--measure", measure]).stdout
        for measure in ("early_removal", "dislodgement")
    }
    assert all("To explain it away" in text for text in said.values())
    assert "the square root of the odds ratio" in said["early_removal"]
    assert "square root" not in said["dislodgement"]


def chart(folder: Path, *words: str) -> dict:
    done = CliRunner().invoke(
        dwell,
        ["chart", "dislodgement", "--db", str(folder / "dwell.duckdb"), "--format", "json",
         "--quiet", *words],
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def test_the_logged_change_starts_a_phase_at_a_lower_level(demonstration: Path) -> None:
    before, after = chart(demonstration)["phases"]
    assert after["first"] == STARTED
    assert after["centre"] < 0.8 * before["centre"]
