"""What every command promises: help with an example, one-line errors, exit codes."""

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import click
import pytest

from pipeline import errors
from pipeline.cli import main as cli
from pipeline.cli.main import COMMANDS, dwell

HEAVY = {"duckdb", "polars", "pandas", "lifelines", "plotnine", "scipy", "statsmodels", "numpy"}


def command(name: str) -> click.Command:
    found = dwell.get_command(click.Context(dwell), name)
    assert found is not None
    return found


@pytest.mark.parametrize("name", COMMANDS)
def test_help_carries_an_example(name: str) -> None:
    text = command(name).get_help(click.Context(command(name), info_name=f"dwell {name}"))
    assert "Example" in text
    assert f"dwell {name}" in text.split("Example")[1]


@pytest.mark.parametrize("name", COMMANDS)
def test_the_list_of_commands_says_what_the_command_says(name: str) -> None:
    assert COMMANDS[name].help == command(name).get_short_help_str(limit=100)


def test_help_imports_no_heavy_library() -> None:
    code = (
        "import sys\n"
        "from pipeline.cli.main import dwell\n"
        "dwell.main(['--help'], standalone_mode=False)\n"
        f"sys.exit(' '.join(sorted({HEAVY} & set(sys.modules))) or 0)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_exit_codes_differ() -> None:
    classes = [c for c in vars(errors).values() if isinstance(c, type)]
    codes = [c.exit_code for c in classes]
    assert len(codes) == len(set(codes))


def test_an_unknown_command_is_a_usage_error() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from pipeline.cli.main import main; main()", "nonsense"],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONWARNINGS": "error"},
    )
    assert done.returncode == 2
    assert done.stderr == "There is no command nonsense.\nTry: dwell --help, for the list\n"


@pytest.mark.parametrize(
    ("words", "said", "try_next"),
    [
        (["measurs"], "There is no command measurs.", "dwell measures"),
        (["sql", "--time-limt", "3"], "No such option", "dwell sql --help"),
        (["load"], "Missing argument 'FOLDER'.", "dwell load --help"),
        (["completion"], "Choose from: bash, zsh, fish", "dwell completion --help"),
        (["--vers"], "No such option", "dwell --help"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_words_that_do_not_fit_are_answered_in_a_line(
    words, said, try_next, monkeypatch, capsys
) -> None:
    monkeypatch.setattr("sys.argv", ["dwell", *words])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    lines = capsys.readouterr().err.splitlines()
    assert ended.value.code == 2
    assert said in lines[0]
    assert lines[1:] == [f"Try: {try_next}"]


def test_the_readme_explains_every_exit_code() -> None:
    text = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    listed = {int(code) for code in re.findall(r"^\| (\d) \|", text, flags=re.MULTILINE)}
    classes = [c for c in vars(errors).values() if isinstance(c, type)]
    assert listed == {0, *(c.exit_code for c in classes)}


def test_an_interrupted_command_is_no_fault(monkeypatch, capsys) -> None:
    def interrupt(*args: object, **options: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(cli, "dwell", click.Command("dwell", callback=interrupt))
    monkeypatch.setattr("sys.argv", ["dwell"])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == 130
    assert capsys.readouterr().err.strip() == "Stopped."


def test_an_interrupt_of_which_a_library_makes_an_error_is_an_interrupt(
    monkeypatch, capsys
) -> None:
    def swallow(*args: object, **options: object) -> None:
        try:
            os.kill(os.getpid(), signal.SIGINT)
        except KeyboardInterrupt:
            raise RuntimeError("Query interrupted") from None

    before = signal.getsignal(signal.SIGINT)
    monkeypatch.setattr(cli, "dwell", click.Command("dwell", callback=swallow))
    monkeypatch.setattr("sys.argv", ["dwell"])
    try:
        with pytest.raises(SystemExit) as ended:
            cli.main()
    finally:
        signal.signal(signal.SIGINT, before)
    assert ended.value.code == 130
    assert capsys.readouterr().err.strip() == "Stopped."


def test_a_file_that_may_not_be_read_is_no_fault(monkeypatch, capsys, tmp_path) -> None:
    def fail(*args: object, **options: object) -> None:
        raise PermissionError(13, "Permission denied", "some.csv")

    monkeypatch.setattr(cli, "dwell", click.Command("dwell", callback=fail))
    monkeypatch.setattr("sys.argv", ["dwell"])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == errors.InputError.exit_code
    assert capsys.readouterr().err == "Cannot read or write some.csv: Permission denied.\n"


def test_an_unforeseen_error_quotes_nothing(monkeypatch, capsys) -> None:
    def fail(*args: object, **options: object) -> None:
        raise ValueError("the value of a record")

    monkeypatch.delenv("DWELL_DEBUG", raising=False)
    monkeypatch.setattr(cli, "dwell", click.Command("dwell", callback=fail))
    monkeypatch.setattr("sys.argv", ["dwell"])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    said = capsys.readouterr().err
    assert ended.value.code == 1
    assert "ValueError" in said
    assert "record" not in said.replace("real records", "")
