"""What holds for every command: errors in a line, JSON that parses, options spelt alike."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import click
import pytest
from click.shell_completion import ShellComplete
from click.testing import CliRunner

from pipeline.cli import main as cli
from pipeline.cli.main import COMMANDS, COMPLETE_VARIABLE, dwell
from pipeline.errors import DwellError, NoDataError, StoreError, UsageError
from tests.conftest import Database

ROOT = Path(__file__).parents[1]
# What a command needs beside --db, kept small.
WORDS = {
    "measures": ["leakage", "--by", "site"],
    "chart": ["leakage"],
    "plan": ["leakage"],
    "history": ["e1"],
    "undo": ["1"],
    "freeze": ["2025-Q1"],
    "signals": ["2025-Q1", "--no-record"],
    "compare": ["--measure", "leakage"],
    "change": ["glue", "--measure", "dislodgement"],
    "report": ["2025-Q1"],
    "sql": ["select 1"],
    "questions": ["reasons_by_site"],
    "extract": ["glue-study", "--out", "glue-study"],
}
MAKE_A_STORE = {"load", "demo", "doctor"}


def command(name: str) -> click.Command:
    found = dwell.get_command(click.Context(dwell), name)
    assert found is not None
    return found


def options(name: str) -> dict[str, click.Parameter]:
    return {option: param for param in command(name).params for option in param.opts}


READ_A_STORE = [n for n in COMMANDS if "--db" in options(n) and n not in MAKE_A_STORE]
PRINT_JSON = [
    name
    for name in READ_A_STORE
    if "--format" in options(name) and "json" in options(name)["--format"].type.choices
]


@pytest.fixture(scope="module")
def store_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Eighty invented episodes of two sites in three months, and a change half-way."""
    database = Database()
    lines = [
        f"e{i} | {'avocet' if i % 2 else 'dunlin'} | 2025-0{1 + i % 3} |"
        f" {24 + i % 48} | {'dislodged' if i % 3 else 'completed'}"
        for i in range(1, 81)
    ]
    database.given(
        "episode",
        "\n".join(["episode_id | site | placed_month | removed_h | removal_reason", *lines]),
    )
    calls = [f"e{i} | 20 | large" for i in range(1, 31)]
    database.given("contact", "\n".join(["episode_id | at_h | leakage", *calls]))
    database.given(
        "change", "change_id | started_month | sites | title | new_phase\n"
        "glue | 2025-02 | all | Glue | no"
    )  # fmt: skip
    path = database.save(tmp_path_factory.mktemp("small") / "dwell.duckdb")
    database.close()
    return path


Run = Callable[..., tuple[int, str]]


@pytest.fixture
def run(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run the whole program; its exit code, and what stands on stderr."""

    def run_it(*words: str) -> tuple[int, str]:
        monkeypatch.setattr("sys.argv", ["dwell", *words])
        with pytest.raises(SystemExit) as ended:
            cli.main()
        return int(ended.value.code or 0), capsys.readouterr().err

    return run_it


@pytest.mark.parametrize("name", READ_A_STORE)
def test_a_missing_store_is_said_in_a_line(name: str, run: Run, monkeypatch, tmp_path) -> None:
    monkeypatch.chdir(tmp_path)
    code, said = run(name, *WORDS.get(name, []), "--db", "none.duckdb")
    assert code == StoreError.exit_code, said
    assert "There is no store at none.duckdb." in said
    assert "Traceback" not in said
    assert not (tmp_path / "none.duckdb").exists()


@pytest.mark.parametrize(
    ("words", "kind", "named"),
    [
        (["measures", "lekage"], UsageError, "leakage"),
        (["chart", "lekage"], UsageError, "leakage"),
        (["plan", "lekage"], UsageError, "leakage"),
        (["compare", "--measure", "lekage"], UsageError, "leakage"),
        (["change", "glue", "--measure", "lekage"], UsageError, "leakage"),
        (["dictionary", "lekage"], UsageError, "dwell dictionary"),
        (["measures", "leakage", "--site", "curlew"], NoDataError, "avocet"),
        (["chart", "leakage", "--site", "curlew"], NoDataError, "avocet"),
        (["plan", "leakage", "--site", "curlew"], NoDataError, "avocet"),
        (["report", "2031-Q1"], NoDataError, "2025-Q1"),
        (["signals", "2031-Q1"], NoDataError, "2025-Q1"),
        (["freeze", "2031-Q1"], NoDataError, "2025-Q1"),
        (["compare", "--quarter", "2031-Q1"], NoDataError, "2025-Q1"),
        (["report", "spring"], UsageError, "2025-Q4"),
        (["signals", "spring"], UsageError, "2025-Q4"),
        (["freeze", "spring"], UsageError, "2025-Q4"),
        (["change", "cement"], UsageError, "glue"),
    ],
    ids=str,
)
def test_what_does_not_exist_is_answered_with_what_does(
    words: list[str], kind: type[DwellError], named: str, store_file: Path, run: Run
) -> None:
    db = [] if words[0] == "dictionary" else ["--db", str(store_file)]
    code, said = run(*words, *db)
    lines = said.splitlines()
    assert code == kind.exit_code, said
    assert len(lines) <= 2, said
    assert named in said


@pytest.mark.parametrize(
    "name",
    [pytest.param(n, marks=pytest.mark.slow) if n == "plan" else n for n in PRINT_JSON],
)
def test_json_parses(name: str, store_file: Path, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    words = [name, *WORDS.get(name, []), "--db", str(store_file), "--format", "json"]
    done = CliRunner().invoke(dwell, words)
    if isinstance(done.exception, NoDataError):  # nothing was frozen
        assert name == "drift"
        return
    assert done.exception is None, done.exception
    json.loads(done.stdout, parse_constant=lambda word: pytest.fail(f"{word} is no JSON"))


def test_nothing_is_coloured() -> None:
    """Words carry the meaning, so there is nothing to turn off by NO_COLOR."""
    for path in (ROOT / "pipeline").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"click\.(style|secho)\(|\\033\[", text), path.name


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_can_be_told_to_be_quiet(name: str) -> None:
    assert options(name)["--quiet"] is options(name)["-q"]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_is_explained(name: str) -> None:
    for param in command(name).params:
        if isinstance(param, click.Option):
            assert param.help, param.name
            assert param.help.endswith((".", "...")), param.help
            assert param.metavar or param.type is not click.STRING, param.name


def test_an_option_that_several_commands_share_is_worded_alike() -> None:
    for option in ("--db", "--settings", "--quiet", "--site", "--from", "--to"):
        found = [options(n)[option] for n in COMMANDS if option in options(n)]
        assert len({(p.metavar, getattr(p, "help", "")) for p in found}) == 1, option
        assert len(found) > 1


def test_an_option_of_one_name_is_of_one_kind() -> None:
    for option in ("--db", "--settings", "--quiet", "--site", "--measure",
                   "--from", "--to", "--where", "--by", "--out"):  # fmt: skip
        kinds = {type(found[option].type) for n in COMMANDS if option in (found := options(n))}
        assert kinds, option
        # Words of a closed list, or read by a type of ours, are words all the same.
        foreign = {k for k in kinds - {click.Choice} if not k.__module__.startswith("pipeline.")}
        assert len(foreign) <= 1, option


@pytest.mark.parametrize("option", ["--figures", "--output", "--format_", "--sites"])
def test_no_second_spelling(option: str) -> None:
    assert not [name for name in COMMANDS if option in options(name)]


@pytest.mark.parametrize(
    ("words", "begun", "found"),
    [
        (["chart"], "toxicity", {"toxicity_symptoms"}),
        (["measures", "leakage"], "night", {"night_calls"}),
        (["plan"], "leak", {"leakage"}),
        (["compare", "--measure"], "leak", {"leakage"}),
        (["change", "glue", "--measure"], "leak", {"leakage"}),
        (["change"], "", {"glue"}),
        (["chart", "--site"], "", {"avocet", "dunlin"}),
        (["measures", "--site"], "d", {"dunlin"}),
        (["report"], "2025", {"2025-Q1"}),
        (["freeze"], "", {"2025-Q1"}),
        (["signals"], "", {"2025-Q1"}),
        (["drift"], "", {"2025-Q1"}),
        (["compare", "--quarter"], "", {"2025-Q1"}),
        (["undo"], "", {"1"}),
        (["questions"], "first", {"first_night_calls"}),
        (["extract", "glue-study", "--site"], "a", {"avocet"}),
        (["extract", "--column"], "dose", {"dose_mg_kg_h"}),
        (["dictionary"], "episode_d", {"episode_dwell"}),
        ([], "doc", {"doctor"}),
    ],
    # A set is written in another order by each process.
    ids=lambda value: " ".join(sorted(value)) if isinstance(value, set) else str(value),
)
def test_the_shell_completes(
    words: list[str], begun: str, found: set[str], store_file: Path, monkeypatch
) -> None:
    monkeypatch.setenv("DWELL_DB", str(store_file))
    shell = ShellComplete(dwell, {}, "dwell", COMPLETE_VARIABLE)
    assert {item.value for item in shell.get_completions(words, begun)} == found


def test_completion_without_a_store_is_silent(tmp_path: Path, monkeypatch, capsys) -> None:
    monkeypatch.setenv("DWELL_DB", str(tmp_path / "none.duckdb"))
    shell = ShellComplete(dwell, {}, "dwell", COMPLETE_VARIABLE)
    assert shell.get_completions(["report"], "") == []
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_the_completion_script_asks_dwell(shell: str) -> None:
    done = CliRunner().invoke(dwell, ["completion", shell])
    assert COMPLETE_VARIABLE in done.stdout
