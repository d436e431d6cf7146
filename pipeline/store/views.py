"""The SQL of the store's views, made from the files of `sql/`."""

import re
from pathlib import Path

from pipeline.resources import resource

# Stands in `sql/views` where the measures go, so that a new measure is one new file.
EVERY_MEASURE = "/* one select a file of sql/measures, united */"
_VIEW = re.compile(r"^create or replace view (\w+) as\n(.*?);$", re.MULTILINE | re.DOTALL)


def views_text() -> str:
    """Return the SQL of every view, in the order of the file names."""
    text = "\n".join(path.read_text(encoding="utf-8") for path in view_files())
    return text.replace(EVERY_MEASURE, every_measure())


def view_selects() -> list[tuple[str, str]]:
    """Return the name and the select of every view, each after those it reads."""
    return _VIEW.findall(views_text())


def view_files() -> list[Path]:
    """Return the files of the views in the order in which they are run."""
    return sorted(resource("sql", "views").glob("*.sql"))


def every_measure() -> str:
    """Return the select of every file of `sql/measures`, named and united."""
    paths = sorted(resource("sql", "measures").glob("*.sql"))
    return "\nunion all\n".join(
        f"select '{path.stem}' as measure, episode_id, numerator, denominator\n"
        f"from (\n{path.read_text(encoding='utf-8')}\n) as {path.stem}"
        for path in paths
    )
