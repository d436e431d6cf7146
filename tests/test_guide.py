"""The README and the walk-throughs in docs/guide are run as they stand, so that they cannot drift.

In a `console` block a line that begins with `$` is typed; what follows is what comes
out, stdout and stderr together. `...` stands for anything, spaces count as one. A
`python` block is run, a `toml` block is read as settings.
"""

import doctest
import re
import shlex
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from pipeline.cli.main import COMMANDS, dwell
from pipeline.errors import DwellError
from pipeline.report.render import Order, Rendered
from pipeline.settings import load_settings
from pipeline.words.desk import CONFIDENTIAL

DOCS = Path(__file__).parents[1] / "docs"
GUIDES = sorted((DOCS / "guide").glob("*.md"))
README = DOCS.parent / "README.md"
DOCUMENTS = [README, *GUIDES]
SLOW = {"demo", "report", "release", "signals"}  # only read here; test_wheel runs the chair's
ACTIVATE = ". .venv/bin/activate && "
FLAGS = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


@dataclass(frozen=True)
class Typed:
    """A line of a console block, and what the guide shows after it."""

    line: str
    shown: str


def blocks(path: Path, language: str) -> list[str]:
    text = path.read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```$", text, flags=re.MULTILINE | re.DOTALL)


def typed(path: Path) -> Iterator[Typed]:
    for block in blocks(path, "console"):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            line, _, shown = part.partition("\n")
            yield Typed(line, shown)


class Shell:
    """As much of a shell as the documents need: `dwell`, `cd`, and the last exit code."""

    def __init__(self, place: Path, monkeypatch: pytest.MonkeyPatch, *, run_slow: bool) -> None:
        self.place, self.run_slow, self.code = place, run_slow, 0
        self._patch = monkeypatch

    def run(self, line: str) -> str | None:
        """Return what the line prints; None where it was read and not run."""
        line = line.removeprefix(ACTIVATE).partition("  #")[0].rstrip()
        program, *words = shlex.split(line)
        if program == "make":
            makefile = (DOCS.parent / "Makefile").read_text(encoding="utf-8")
            assert f"\n{words[0]}:" in makefile, line
            return None
        if program == "cd":
            self.place = self.place / words[0]
            self._patch.chdir(self.place)
            return ""
        if line == "echo $?":
            return f"{self.code}\n"
        assert program == "dwell", line
        if words and words[0] in SLOW and not self.run_slow:
            parse(words)
            if words[0] == "report":
                self._order(words)
            return None
        return self._dwell(words)

    def _order(self, words: list[str]) -> None:
        """Run `dwell report` up to the rendering, which tests/report does for each document."""
        ordered: list[Order] = []

        def render(order: Order, tell: object) -> Rendered:
            ordered.append(order)
            return Rendered(order.out / "page.html", None, "builtin")

        with self._patch.context() as patch:
            patch.setattr("pipeline.report.render.render", render)
            self._dwell(words)
        assert self.code == 0, words
        assert [order.document for order in ordered] in (["quarterly"], ["comparison"])

    def _dwell(self, words: list[str]) -> str:
        done = CliRunner().invoke(dwell, words)
        if isinstance(done.exception, DwellError):
            self.code = done.exception.exit_code
            return f"{done.output}{done.exception}\n"
        assert done.exception is None or isinstance(done.exception, SystemExit), done.exception
        self.code = done.exit_code
        return done.output.replace(
            f"{CONFIDENTIAL}\n", ""
        )  # the documents say once that it is said


def parse(words: list[str]) -> None:
    """Read a command's words without running it; raises where they do not fit."""
    command = dwell.get_command(click.Context(dwell), words[0])
    assert command is not None, words[0]
    command.make_context(words[0], list(words[1:]))


def follow(path: Path, shell: Shell) -> None:
    """Type every line; fail with all that print something else than is shown."""
    checker, wrong = doctest.OutputChecker(), []
    for one in typed(path):
        printed = shell.run(one.line)
        if printed is None:
            continue
        fits = checker.check_output(one.shown, printed, FLAGS) if one.shown else shell.code == 0
        if not fits:
            wrong.append(f"$ {one.line}\nshown:\n{one.shown}\nprinted:\n{printed}")
    if wrong:
        pytest.fail("\n".join([path.name, *wrong]), pytrace=False)


@pytest.fixture
def place(demonstration: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("DWELL_DB", raising=False)
    shutil.copytree(demonstration, tmp_path / "demo")
    return tmp_path


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.stem)
def test_a_walk_through_prints_what_it_shows(
    path: Path, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    follow(path, Shell(place, monkeypatch, run_slow=False))


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.stem)
def test_python_in_a_walk_through_runs(
    path: Path, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(place / "demo")
    for block in blocks(path, "python"):
        exec(compile(block, path.name, "exec"), {})


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.stem)
def test_settings_in_a_walk_through_are_settings(path: Path, tmp_path: Path) -> None:
    for block in blocks(path, "toml"):
        (tmp_path / "dwell.toml").write_text(block, encoding="utf-8")
        load_settings(tmp_path / "dwell.toml")


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.stem)
def test_every_command_that_is_shown_is_read_as_it_stands(path: Path) -> None:
    """Also those in the running text, such as `dwell report 2025-Q4 --pdf`."""
    text = path.read_text(encoding="utf-8")
    spoken = re.findall(r"`dwell ([^`]+)`", text)
    assert spoken or blocks(path, "console")
    for words in map(shlex.split, spoken):
        if words[0] not in COMMANDS:  # an option of the program, or a word in capitals
            assert words[0] in {"--help", "COMMAND"}, words
            continue
        command = dwell.get_command(click.Context(dwell), words[0])
        assert command is not None
        known = {option for param in command.params for option in param.opts}
        known |= {option for param in command.params for option in param.secondary_opts}
        for word in words[1:]:
            assert not word.startswith("-") or word in known | {"--help"}, f"{path.name}: {words}"


def test_there_is_a_walk_through_for_each_kind_of_user() -> None:
    assert [path.stem for path in GUIDES] == ["committee-chair", "researcher", "service-lead"]


def test_links_in_the_documents_lead_somewhere() -> None:
    for path in DOCS.rglob("*.md"):
        for target in re.findall(r"\]\((?!https?:)([^)#]+)", path.read_text(encoding="utf-8")):
            assert (path.parent / target).exists(), f"{path.name}: {target}"
