"""Ctrl-C while a report is made ends the report, and says so."""

import os
import signal
import subprocess
import sys
from pathlib import Path

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
    child.send_signal(signal.SIGINT)
    child.communicate(timeout=60)
    assert child.returncode == 3
