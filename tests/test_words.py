"""The project speaks of itself alone: no machine's paths, no registry's hosts."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SUFFIXES = {".py", ".md", ".toml", ".sql", ".qmd", ".css", ".R", ".csv", ".lock", ".html",
            ".typ", ".lua", ".yml", ".yaml", ".json", ".txt", ""}  # fmt: skip
LEFT_OUT = {"demo", "build", "dist", "node_modules"}
# Written apart, so that this file does not find itself.
WORDS = {
    "a machine's path": r"(?<![\w.~}])/(?:work|home|Users|root)" + r"/\w",
    "a registry's host": r"pypi\.(?:org|io)|python" + r"hosted|npmjs\.|crates\.io|artifactory|"
    r"conda-forge|anaconda\.org",
}


def files() -> list[Path]:
    return [
        path
        for path in sorted(ROOT.rglob("*"))
        if path.is_file()
        and path.suffix in SUFFIXES
        and not any(
            part.startswith(".") or part in LEFT_OUT or part == "__pycache__"
            for part in path.relative_to(ROOT).parts
        )
    ]


@pytest.mark.parametrize("what", WORDS)
def test_no_file_names(what: str) -> None:
    found = [
        f"{path.relative_to(ROOT)}: {line.strip()[:80]}"
        for path in files()
        if path != Path(__file__)
        for line in path.read_text(encoding="utf-8", errors="replace").splitlines()
        if re.search(WORDS[what], line)
    ]
    assert not found, "\n".join(found)


def test_the_whole_project_is_read() -> None:
    names = {str(path.relative_to(ROOT)) for path in files()}
    assert {"README.md", "Makefile", "requirements.lock", "pipeline/cli/main.py"} <= names


def test_the_lock_holds_versions_and_hashes_and_no_address() -> None:
    lines = (ROOT / "requirements.lock").read_text(encoding="utf-8").splitlines()
    pins = [line for line in lines if "==" in line]
    assert len(pins) > 50
    for line in lines:
        assert "://" not in line
        assert not line.startswith(("--index", "--extra", "--find", "-i ", "-f "))
        assert " @ " not in line
