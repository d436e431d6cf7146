"""A small store with everything in it, and `dwell` run in processes that can be stopped."""

import datetime as dt
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from pipeline.cli.main import dwell
from pipeline.records.folder import find_sources
from pipeline.store.load import load_files
from synthetic_data import write_folder

# Forks `dwell` a line that it is sent: importing everything takes longer than most commands.
# With a number it kills itself before it changes a file for that time.
FORKS = """
import importlib, json, os, signal, sys
from pipeline.cli.main import COMMANDS, main
for entry in COMMANDS.values():
    importlib.import_module(entry.target.split(":")[0])
import duckdb, plotnine, polars, xlsxwriter
import pipeline.report.quarterly, pipeline.store.query_process
from matplotlib.figure import Figure

# What is drawn is tested elsewhere, and takes longer than all else: the files are made empty.
plotnine.ggplot.draw = lambda plot: Figure()
CHANGES = {"os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.truncate", "shutil.rmtree"}
here, at, seen = "", 0, 0

def is_inside(name):
    return isinstance(name, (str, os.PathLike)) and os.path.abspath(name).startswith(here)

def is_change(event, args):
    if event in CHANGES:
        return is_inside(args[0])
    writes = os.O_WRONLY | os.O_RDWR | os.O_CREAT
    return event == "open" and bool((args[2] or 0) & writes) and is_inside(args[0])

def hook(event, args):
    global seen
    if here and is_change(event, args):
        seen += 1
        if seen == at:
            os.kill(os.getpid(), signal.SIGKILL)

sys.addaudithook(hook)
for line in sys.stdin:
    folder, words, number = json.loads(line)
    child = os.fork()
    if child == 0:
        if hasattr(os, "sched_setaffinity"):  # on one core a report's changes are as many each time
            cores = sorted(os.sched_getaffinity(0))
            os.sched_setaffinity(0, {cores[os.getpid() % len(cores)]})
        os.chdir(folder)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        for stream in (1, 2):
            said = os.O_WRONLY | os.O_CREAT | os.O_TRUNC
            os.dup2(os.open(f"{folder}/../said{stream}", said), stream)
        sys.stdout, sys.stderr = open(1, "w"), open(2, "w")
        sys.argv = ["dwell", *words]
        here, at = folder, number
        try:
            main()
        except SystemExit as end:
            with open(folder + "/../seen", "w") as file:
                here = ""
                file.write(str(seen))
            os._exit(end.code or 0)
    print(os.waitpid(child, 0)[1], flush=True)
"""


class Forks:
    """Runs `dwell` in forks of one process that has imported everything."""

    def __init__(self) -> None:
        self._server = subprocess.Popen(
            [sys.executable, "-c", FORKS], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def run(self, folder: Path, *words: str, at: int = 0) -> int:
        """Run `dwell` in a folder; kill it before the `at`th change of a file there.

        Returns its status, as `os.waitpid` gives it.
        """
        assert self._server.stdin
        assert self._server.stdout
        self._server.stdin.write(json.dumps([str(folder), words, at]) + "\n")
        self._server.stdin.flush()
        return int(self._server.stdout.readline())

    def dwell(self, folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
        """Run `dwell` in a folder to its end; return what it said."""
        code = os.waitstatus_to_exitcode(self.run(folder, *words))
        said = [(folder.parent / f"said{i}").read_text("utf-8") for i in (1, 2)]
        return subprocess.CompletedProcess(words, code, *said)

    def changes(self, folder: Path) -> int:
        """Return how often the last command that ended had changed a file."""
        return int((folder.parent / "seen").read_text())

    def close(self) -> None:
        """End the server."""
        self._server.communicate()


@pytest.fixture(scope="session")
def forks() -> Iterator[Forks]:
    running = Forks()
    yield running
    running.close()


@pytest.fixture(scope="session")
def small_world(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with records, a store of them, a site's export and its mapping."""
    place = tmp_path_factory.mktemp("world")
    write_folder(place / "records", episodes=160, seed=5, with_faults=True)
    sources = find_sources(place / "records")
    load_files(place / "dwell.duckdb", sources, as_of=dt.date(2026, 1, 31))
    raw = "Case,In,Age,Team,Block,Plan\nx1,2025-04-03 10:15,9.6,Knee,FNB,72\n"
    (place / "raw").mkdir()
    (place / "raw" / "list.csv").write_text(raw, "utf-8")
    draft = place / "raw" / "mapping.toml"
    CliRunner().invoke(dwell, ["map", str(place / "raw" / "list.csv"), "--out", str(draft)])
    known = draft.read_text("utf-8").replace('# site = ""', 'site = { constant = "knot" } #')
    draft.write_text(known, "utf-8")
    (place / "site.key").write_text("a long enough secret", "utf-8")
    return place


@pytest.fixture
def world(small_world: Path, tmp_path: Path) -> Path:
    """A copy of it, of this test alone."""
    return Path(shutil.copytree(small_world, tmp_path / "world"))
