"""The installed program carries its SQL, its reports and the invented network."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
RUN = "from pipeline.cli.main import main; main()"


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder that holds what a wheel installs, and nothing of the source tree."""
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder / "dist")]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True)
    (wheel,) = (folder / "dist").glob("*.whl")
    site = folder / "site"
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(site)
    return site


def run(site: Path, cwd: Path, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *words],
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(site)},
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_wheel_holds_every_shipped_file(installed: Path) -> None:
    for folder, inside in (("sql", "_sql"), ("reports", "_reports")):
        shipped = {p.relative_to(ROOT / folder) for p in (ROOT / folder).rglob("*") if p.is_file()}
        found = {
            p.relative_to(installed / "pipeline" / inside)
            for p in (installed / "pipeline" / inside).rglob("*")
            if p.is_file()
        }
        assert found == {p for p in shipped if "__pycache__" not in p.parts}


def test_records_load_and_count_from_the_wheel(installed: Path, tmp_path: Path) -> None:
    home = run(installed, tmp_path, "-c", "import pipeline; print(pipeline.__file__)")
    assert home.stdout.startswith(str(installed))
    steps = [
        ["-m", "synthetic_data", "records", "--episodes", "300"],
        ["-c", RUN, "load", "records"],
        ["-c", RUN, "measures", "dislodgement", "--by", "quarter"],
    ]
    for words in steps:
        done = run(installed, tmp_path, *words)
        assert done.returncode == 0, done.stderr
    assert "2023-Q1" in done.stdout
