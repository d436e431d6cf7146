"""The planted securement change (synthetic_data/README.md) shows on the control chart."""

import json
from pathlib import Path

from click.testing import CliRunner

from pipeline.cli.main import dwell

STARTED = "2024-07"


def chart(folder: Path, *words: str) -> dict:
    done = CliRunner().invoke(
        dwell,
        ["chart", "dislodgement", "--db", str(folder / "dwell.duckdb"), "--format", "json",
         "--quiet", *words],
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def test_limits_carried_forward_from_before_the_change_find_it(demonstration: Path) -> None:
    found = chart(demonstration, "--baseline", "2023-01..2024-06")
    signalling = [point["period"] for point in found["points"] if point["signals"]]
    assert sum(period >= STARTED for period in signalling) >= 8
    assert all(signal["direction"] == "below" for signal in found["signals"])


def test_the_logged_change_starts_a_phase_at_a_lower_level(demonstration: Path) -> None:
    before, after = chart(demonstration)["phases"]
    assert after["first"] == STARTED
    assert after["centre"] < 0.8 * before["centre"]
