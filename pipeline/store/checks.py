"""Checks over what is stored: selects in `sql/checks` that must return no rows."""

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from pipeline.resources import resource
from pipeline.store.session import Store


@dataclass(frozen=True)
class StoreCheck:
    """One file of `sql/checks`: its name, what it finds in words, and its select.

    The select gives `site`, `record` and `record_key` of each finding.
    """

    name: str
    title: str
    sql: str


@dataclass(frozen=True)
class CheckFinding:
    """Findings of one check at one site; `site` is null where they belong to none."""

    check: str
    title: str
    site: str | None
    rows: int


@cache
def store_checks() -> tuple[StoreCheck, ...]:
    """Return every check, in the order of their names."""
    return tuple(_read(path) for path in sorted(resource("sql", "checks").glob("*.sql")))


def _read(path: Path) -> StoreCheck:
    text = path.read_text(encoding="utf-8")
    card = dict(re.findall(r"^-- (\w+):\s+(.*)$", text, flags=re.MULTILINE))
    return StoreCheck(card["check"], card["title"], text)


def run_checks(store: Store) -> tuple[CheckFinding, ...]:
    """Return what the checks find, by site; empty where all is well."""
    found = []
    for check in store_checks():
        counts = store.rows(
            f"select site, count(*) from (\n{check.sql}\n) group by site order by site"
        )
        found += [CheckFinding(check.name, check.title, site, rows) for site, rows in counts]
    return tuple(found)
