"""Ctrl-C while a report is made ends the report, and says so."""

import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest

QMD = """---
title: A trial
---

## Waiting

```{python}
import time
time.sleep(100)
```
"""
CODE = """
import sys
from pathlib import Path
from pipeline.report.builtin import execute
try:
    execute(Path(sys.argv[1]), {}, lambda section: print(section, flush=True))
except KeyboardInterrupt:
    sys.exit(3)
"""


def test_ctrl_c_ends_the_report(tmp_path: Path) -> None:
    (tmp_path / "trial.qmd").write_text(QMD, encoding="utf-8")
    child = subprocess.Popen(
        [sys.executable, "-c", CODE, str(tmp_path / "trial.qmd")],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert child.stdout is not None
    assert child.stdout.readline() == "Waiting\n"
    for _ in range(10):  # one that comes while an object is finalised is lost
        child.send_signal(signal.SIGINT)
        with suppress(subprocess.TimeoutExpired):
            child.communicate(timeout=5)
            break
    assert child.returncode == 3


# The database ends a query that is interrupted with an error of its own.
SWALLOWED = """
import os, signal
from pipeline.cli import next_step
from pipeline.cli.main import main
from pipeline.errors import {name}

def stopped(path):
    try:
        os.kill(os.getpid(), signal.SIGTERM)
    except KeyboardInterrupt:
        raise {name}("interrupted") from None

next_step.say_next = stopped
main()
"""


@pytest.mark.parametrize("name", ["RenderError", "StoreError"])
def test_a_stop_that_a_library_makes_an_error_of_is_a_stop(name: str) -> None:
    done = subprocess.run(
        [sys.executable, "-c", SWALLOWED.format(name=name)],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (128 + signal.SIGTERM, "Stopped.\n")


@pytest.mark.slow
@pytest.mark.usefixtures("every_core")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGKILL])
def test_a_stopped_report_leaves_no_process_and_no_folder(
    store_path: Path, tmp_path: Path, how: signal.Signals
) -> None:
    words = ["report", "2025-Q3", "--db", str(store_path), "--out", str(tmp_path / "r")]
    child = subprocess.Popen(
        [sys.executable, "-c", "from pipeline.cli.main import main; main()", *words],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip
    assert child.stderr is not None
    while "Reading the store" not in child.stderr.readline():
        assert child.poll() is None
    time.sleep(3)  # both processes are at work, or on their way there
    child.send_signal(how)
    _, said = child.communicate(timeout=60)
    assert child.returncode == (-how if how == signal.SIGKILL else 128 + how)
    assert "Traceback" not in said
    for _ in range(100):  # the group of processes that it began is gone
        try:
            os.killpg(child.pid, 0)
        except ProcessLookupError:
            break
        time.sleep(0.1)
    else:
        pytest.fail("a process is left")
    if how != signal.SIGKILL:
        assert list((tmp_path / "r").iterdir()) == []
