"""The installed program carries its SQL, its reports and the invented network."""

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from pipeline.words.desk import CONFIDENTIAL
from tests.test_guide import GUIDES, Shell, follow

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


# What figures show is tested elsewhere, and to draw them takes longer than all else: a new
# environment whose Python begins with this makes every file of a figure, and makes it empty.
EMPTY_FIGURES = """
import importlib.util, sys

class Finder:
    def find_spec(self, name, path=None, target=None):
        if name != "plotnine.ggplot":
            return None
        sys.meta_path.remove(self)
        spec = importlib.util.find_spec(name)
        load = spec.loader.exec_module
        def exec_module(module):
            from matplotlib.figure import Figure
            load(module)
            module.ggplot.draw = lambda plot: Figure()
        spec.loader.exec_module = exec_module
        return spec

sys.meta_path.insert(0, Finder())
"""


class Installed(Shell):
    """The shell of a machine on which nothing but the wheel is installed."""

    def __init__(self, program: Path, place: Path, patch: pytest.MonkeyPatch) -> None:
        super().__init__(place, patch, run_slow=True)
        self._program = program

    def _dwell(self, words: list[str]) -> str:
        done = subprocess.run(
            [str(self._program), *words], cwd=self.place, text=True, check=False,
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
            env={name: value for name, value in os.environ.items() if name != "PYTHONPATH"},
        )  # fmt: skip
        self.code = done.returncode
        return done.stdout.replace(f"{CONFIDENTIAL}\n", "")


@pytest.mark.slow
@pytest.mark.usefixtures("every_core")
def test_the_chairs_walk_through_runs_where_nothing_but_the_wheel_is_installed(
    installed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A new environment: the wheel by pip, what it needs from the one that runs the tests."""
    home = tmp_path / "new"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(home)], check=True)
    (wheel,) = (installed.parent / "dist").glob("*.whl")
    python = home / "bin" / "python"
    pip = [sys.executable, "-m", "pip", "--python", str(python), "install", "--quiet"]
    subprocess.run([*pip, "--no-deps", "--no-index", str(wheel)], check=True, capture_output=True)
    (site,) = home.glob("lib/python*/site-packages")
    needed = [path for path in sys.path if path.endswith("site-packages")]
    (site / "needed.pth").write_text("\n".join(needed) + "\n", encoding="utf-8")
    (site / "sitecustomize.py").write_text(EMPTY_FIGURES, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("PYTHONPATH", raising=False)
    monkeypatch.delenv("DWELL_DB", raising=False)
    where = [str(python), "-c", "import pipeline; print(pipeline.__file__)"]
    assert str(home) in subprocess.run(where, capture_output=True, text=True, check=True).stdout
    (path,) = [guide for guide in GUIDES if guide.stem == "committee-chair"]
    follow(path, Installed(home / "bin" / "dwell", tmp_path, monkeypatch))
    assert (tmp_path / "demo" / "report" / "quarterly-2025-Q4.html").exists()
