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


@pytest.mark.slow
def test_the_demonstration_runs_where_nothing_but_the_wheel_is_installed(
    installed: Path, tmp_path: Path
) -> None:
    """A new environment: the wheel by pip, what it needs from the one that runs the tests."""
    home = tmp_path / "new"
    subprocess.run([sys.executable, "-m", "venv", str(home)], check=True)
    (wheel,) = (installed.parent / "dist").glob("*.whl")
    python = home / "bin" / "python"
    pip = [str(python), "-m", "pip", "install", "--quiet", "--no-deps", "--no-index", str(wheel)]
    subprocess.run(pip, check=True, capture_output=True)
    (site,) = home.glob("lib/python*/site-packages")
    needed = [path for path in sys.path if path.endswith("site-packages")]
    (site / "needed.pth").write_text("\n".join(needed) + "\n", encoding="utf-8")
    dwell = str(home / "bin" / "dwell")
    for words in (
        [str(python), "-c", "import pipeline; print(pipeline.__file__)"],
        [dwell, "demo", "demo"],
        [dwell, "status", "--db", "demo/dwell.duckdb"],
    ):
        done = subprocess.run(
            words, cwd=tmp_path, capture_output=True, text=True, check=False,
            env={name: value for name, value in os.environ.items() if name != "PYTHONPATH"},
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        assert words[1] != "-c" or str(home) in done.stdout
    assert (tmp_path / "demo" / "report" / "quarterly-2025-Q4.html").exists()
