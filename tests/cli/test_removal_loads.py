"""What `dwell removal` prints does not depend on how the records were loaded."""

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from pipeline.cli.main import dwell

HEADER = (
    "episode_id,patient_key,site,placed_month,month_order,placed_hour,age_years,surgeon_type,"
    "nerve_target,skin_glue,rate_ml_h,reservoir_ml,planned_dwell_h,removed_h,removal_reason,"
    "removed_after_h,removed_before_h,last_known_in_place_h"
)
ASKED = [
    "--by", "site", "--adjust", "age_years,skin_glue,limb", "--hazard", "--pump", "--at", "all",
]  # fmt: skip


def invented_rows(n: int = 240) -> list[str]:
    """Invented episodes: exact removals, intervals, and some still in place at the last call."""
    rng = np.random.default_rng(21)
    rows = []
    for i in range(n):
        glue = rng.random() < 0.5
        out = rng.exponential(110 if glue else 60)
        hour = np.ceil(min(out, 72) * 4) / 4
        reason = rng.choice(["dislodged", "leakage"], p=[0.7, 0.3]) if out < 72 else "completed"
        kind = rng.choice(["exact", "interval", "lost"], p=[0.8, 0.12, 0.08])
        end = {
            "exact": f"{hour},{reason},,,",
            "interval": f",{reason},{max(hour - 3, 0)},{hour + 3},",
            "lost": f",,,,{hour / 2}",
        }[kind]
        rows.append(
            f"e{i:04},c{i // 2 if i < 60 else i:04},{'avocet' if i % 3 else 'dunlin'},2025-04,"
            f"{i + 1},{rng.integers(8, 17)},{rng.integers(2, 18)},sports,"
            f"{'femoral' if rng.random() < 0.6 else 'axillary'},{'yes' if glue else 'no'},"
            f"{rng.choice([4, 6])},300,72,{end}"
        )
    return rows


def printed(folder: Path, *loads: list[str]) -> str:
    """Load some files one after the other, and return what is printed of them."""
    store = folder / "dwell.duckdb"
    for i, rows in enumerate(loads):
        place = folder / f"load_{i}"
        place.mkdir(parents=True)
        (place / "episode.csv").write_text("\n".join([HEADER, *rows]) + "\n", encoding="utf-8")
        words = ["load", str(place), "--db", str(store), "--as-of", "2025-09-01", "--quiet"]
        done = CliRunner().invoke(dwell, words)
        assert done.exit_code == 0, done.output
    words = ["removal", *ASKED, "--format", "json", "--quiet", "--db", str(store)]
    done = CliRunner().invoke(dwell, words)
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.fixture(scope="module")
def once(tmp_path_factory) -> str:
    text = printed(tmp_path_factory.mktemp("once"), invented_rows())
    assert '"hazard_ratio"' in text
    return text


def test_the_order_of_rows_changes_nothing(once: str, tmp_path: Path) -> None:
    rows = invented_rows()
    shuffled = [rows[i] for i in np.random.default_rng(3).permutation(len(rows))]
    assert printed(tmp_path, shuffled) == once


def test_splitting_the_load_and_repeating_a_part_changes_nothing(once: str, tmp_path: Path) -> None:
    rows = invented_rows()
    assert printed(tmp_path, rows[150:], rows[:150], rows[100:200]) == once
