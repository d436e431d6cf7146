"""`dwell sql`: its outputs, and its prompt in a real terminal."""

import json
import os
import stat
import subprocess
import sys
import time

import openpyxl
import pexpect
import polars as pl
import pytest
from click.testing import CliRunner

from pipeline.cli.main import dwell
from pipeline.cli.prompt import is_finished
from pipeline.errors import InputError, RenderError, UsageError


@pytest.fixture
def store_file(db, tmp_path):
    db.given(
        "episode",
        """
        episode_id | site   | removed_h | interpreter_needed
        e1         | avocet | 30.5      | yes
        e2         | dunlin | 72        |
        """,
    )
    return db.save(tmp_path / "dwell.duckdb")


QUERY = "select episode_id, interpreter_needed, dwell_h from episode_dwell order by 1"


def run(store_file, *words, text=None):
    done = CliRunner().invoke(dwell, ["sql", *words, "--db", str(store_file)], input=text)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done


def test_a_table_is_aligned_with_numbers_to_the_right(store_file):
    assert run(store_file, QUERY).stdout == (
        "episode_id  interpreter_needed  dwell_h\n"
        "e1          yes                    30.5\n"
        "e2                                   72\n"
    )


def test_csv_and_json_go_to_stdout_and_the_caution_to_stderr(store_file):
    done = run(store_file, QUERY, "--format", "csv")
    assert done.stdout.splitlines()[1] == "e1,yes,30.5"
    assert "Confidential" in done.stderr
    rows = json.loads(run(store_file, QUERY, "--format", "json", "--quiet").stdout)
    assert rows[0] == {"episode_id": "e1", "interpreter_needed": True, "dwell_h": 30.5}


def test_what_is_written_is_for_its_owner_alone(store_file, tmp_path):
    code = "from pipeline.cli.main import main; main()"
    words = ["sql", QUERY, "--db", str(store_file), "--out", str(tmp_path / "rows.csv")]
    subprocess.run([sys.executable, "-c", code, *words], check=True, capture_output=True)
    assert stat.S_IMODE((tmp_path / "rows.csv").stat().st_mode) == 0o600


def test_a_query_comes_from_a_file_or_from_stdin(store_file, tmp_path):
    (tmp_path / "q.sql").write_text("-- a question\nselect 7 as n;\n", encoding="utf-8")
    assert "7" in run(store_file, "--file", str(tmp_path / "q.sql")).stdout
    assert "7" in run(store_file, text="select 7 as n").stdout
    with pytest.raises(InputError, match="Cannot read"):
        run(store_file, "--file", str(tmp_path / "none.sql"))
    with pytest.raises(UsageError, match="not from both"):
        run(store_file, "select 1", "--file", str(tmp_path / "q.sql"))


def test_parquet_and_xlsx_are_written_for_their_owner_alone(store_file, tmp_path):
    for name in ("rows.parquet", "rows.xlsx"):
        run(store_file, QUERY, "--out", str(tmp_path / name))
        assert stat.S_IMODE((tmp_path / name).stat().st_mode) == 0o600
    assert pl.read_parquet(tmp_path / "rows.parquet")["dwell_h"].to_list() == [30.5, 72.0]
    sheet = openpyxl.load_workbook(tmp_path / "rows.xlsx").active
    assert [cell.value for cell in sheet[2]] == ["e1", True, 30.5]


def test_text_in_a_sheet_is_never_a_formula(store_file, tmp_path):
    run(store_file, "select '=1+1' as a", "--out", str(tmp_path / "rows.xlsx"))
    cell = openpyxl.load_workbook(tmp_path / "rows.xlsx").active["A2"]
    assert (cell.value, cell.data_type) == ("=1+1", "s")


def test_control_characters_do_not_reach_the_terminal(store_file):
    assert "\x1b" not in run(store_file, "select chr(27) || '[2J' as a").stdout


def test_two_columns_of_one_name_are_both_kept(store_file):
    rows = json.loads(run(store_file, "select 1 as a, 2 as a", "--format", "json").stdout)
    assert rows == [{"a": 1, "a_2": 2}]


@pytest.mark.parametrize(
    "words", [["select 1", "--format", "parquet"], ["select 1", "--out", "rows.txt"],
              ["select 1", "--memory-limit", "lots"]]
)  # fmt: skip
def test_what_does_not_fit_is_a_usage_error(store_file, words):
    with pytest.raises(UsageError):
        run(store_file, *words)


def test_a_name_that_says_no_format_is_refused_before_anything_is_asked(tmp_path):
    with pytest.raises(UsageError, match="does not say in which format"):
        run(tmp_path / "none.duckdb", "select 1", "--out", str(tmp_path / "rows.txt"))


def test_a_file_that_cannot_be_written_is_said_and_the_old_one_kept(store_file, tmp_path):
    with pytest.raises(RenderError, match="cannot be written"):
        run(store_file, "select 1", "--out", str(tmp_path / "none" / "rows.csv"))
    out = tmp_path / "rows.parquet"
    run(store_file, "select 1 as a", "--out", str(out))
    with pytest.raises(InputError, match="parquet cannot hold"):
        run(store_file, "select interval 1 month as a", "--out", str(out))
    assert pl.read_parquet(out).to_dicts() == [{"a": 1}]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["dwell.duckdb", "rows.parquet"]


def test_a_file_of_columns_keeps_names_types_and_the_limit_of_rows(store_file, tmp_path):
    out = tmp_path / "rows.parquet"
    done = run(
        store_file, "select i, i * 2 as i, sum(i) over () as total from range(30000) t(i)",
        "--out", str(out), "--max-rows", "20000",
    )  # fmt: skip
    assert "20,000 rows; there are more" in done.stderr
    frame = pl.read_parquet(out)
    assert (frame.columns, frame.height) == (["i", "i_2", "total"], 20000)
    assert frame["i"].to_list() == list(range(20000))
    assert frame.schema["total"] == pl.Int64
    run(store_file, "select 1::integer as a where false", "--out", str(out))
    assert pl.read_parquet(out).schema == {"a": pl.Int32}


def test_a_plan_is_drawn_as_it_is(store_file):
    lines = run(store_file, "explain select 1").stdout.splitlines()
    assert len(lines) > 3
    assert "\ufffd" not in "".join(lines)


def test_json_has_no_word_for_what_is_no_number(store_file):
    text = run(
        store_file, "select 'nan'::double as a, 'inf'::double as b", "--format", "json"
    ).stdout
    assert json.loads(text, parse_constant=pytest.fail) == [{"a": None, "b": None}]


@pytest.mark.parametrize(
    ("text", "finished"),
    [("select 1;", True), ("select 1", False), ("help", True), ("exit", True), ("", True),
     ("columns episode", True), ("select 1\nfrom episode;", True)],
)  # fmt: skip
def test_a_query_at_the_prompt_ends_with_a_semicolon(text, finished):
    assert is_finished(text) == finished


def test_the_prompt_in_a_terminal(store_file, tmp_path):
    code = "from pipeline.cli.main import main; main()"
    environment = {
        **os.environ,
        "XDG_STATE_HOME": str(tmp_path / "state"),
        "TERM": "xterm",
        "PROMPT_TOOLKIT_NO_CPR": "1",
        "PYTHONPATH": os.pathsep.join(sys.path),
    }
    child = pexpect.spawn(
        sys.executable, ["-c", code, "sql", "--db", str(store_file), "--quiet"],
        env=environment, encoding="utf-8", timeout=60, dimensions=(40, 120),
    )  # fmt: skip
    child.expect("dwell>")
    child.send("select count(*) as catheters\r")
    child.send("from episode_dwell;\r")
    child.expect(r"catheters\s+2\s")
    child.expect("dwell>")
    child.send("drop table episode;\r")
    child.expect("The store is read-only here")
    child.expect("dwell>")
    child.send("selec 1;\r")
    child.expect("The SQL cannot be read at or just before selec")
    child.expect("dwell>")
    child.send("select count(*) from range(100000000000) a, range(10) b;\r")
    child.expect(r"range\(10\) b;")
    time.sleep(0.5)  # let it begin
    child.sendintr()
    child.expect("The query was stopped")
    child.expect("dwell>")
    child.send("columns site_quar\t")
    child.expect("ter")  # what Tab adds
    child.send("\r")
    child.expect("catheter_days")
    child.expect("dwell>")
    child.send("exit\r")
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == 0
    history = tmp_path / "state" / "dwell" / "sql_history"
    assert "from episode_dwell;" in history.read_text(encoding="utf-8")
    assert stat.S_IMODE(history.stat().st_mode) == 0o600
