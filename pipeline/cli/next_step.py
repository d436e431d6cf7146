"""`dwell` alone: what to do next, from what the store holds."""

import datetime as dt
import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.demo import MARK
from pipeline.cli.options import DEFAULT_DB
from pipeline.words.numbers import count

if TYPE_CHECKING:
    from pipeline.measures.store_state import StoreState

Step = tuple[str, str]  # the command, and why

DEMO = Path("demo")
WITHOUT_STORE: tuple[Step, ...] = (
    ("dwell demo", "see all of it on invented records"),
    ("dwell map EXPORT.csv --out mapping.toml", "draft how a site's own export is read"),
    ("dwell load FOLDER", "load records; `dwell dictionary` describes their layout"),
)
WHENEVER: tuple[Step, ...] = (
    ("dwell chart", "control charts of every measure"),
    ("dwell removal", "how long catheters stay, and why they come out"),
    ("dwell questions", "worked questions, in SQL to begin your own from"),
)


def say_next(db: Path) -> None:
    """Print what the store at `db` holds, and which commands come next."""
    state, steps = _without_store(db) if not db.exists() else _with_store(db)
    option = "" if db == Path(DEFAULT_DB) or not db.exists() else f" --db {shlex.quote(str(db))}"
    rows = [(f"{command}{option}", why) for command, why in steps]
    formatter = click.HelpFormatter(width=96)
    formatter.write_text(state)
    with formatter.section("Next"):
        formatter.write_dl(rows, col_max=52)
    formatter.write_paragraph()
    formatter.write_text("`dwell --help` lists every command, `dwell COMMAND --help` explains one.")
    click.echo(formatter.getvalue(), nl=False)


def _without_store(db: Path) -> tuple[str, list[Step]]:
    state = f"There is no store at {db} yet."
    made = DEMO / DEFAULT_DB
    if not ((DEMO / MARK).is_file() and made.is_file()):
        return state, list(WITHOUT_STORE)
    seen = (f"dwell status --db {made}", f"the demonstration in {DEMO}, on invented records")
    return state, [seen, *WITHOUT_STORE[1:]]


def _with_store(db: Path) -> tuple[str, list[Step]]:
    from pipeline.measures.store_state import store_state
    from pipeline.store import open_store

    today = dt.date.today()
    with open_store(db) as store:
        found = store_state(store, today)
    if found is None:
        return f"The store {db} is empty.", [WITHOUT_STORE[2]]
    state = (
        f"{db} holds {count(found.episodes, 'episode')} at {count(found.sites, 'site')}, placed"
        f" {found.first_month} to {found.last_month}; records as of {found.as_of}."
    )
    groups = ("site", "sites") if found.sites > 1 else ("surgeon_type", "surgeon types")
    compare = (f"dwell compare --by {groups[0]}", f"{groups[1]} side by side")
    return state, [*waiting(found), *WHENEVER, compare]


def waiting(found: "StoreState") -> list[Step]:
    """Return what a store waits for, the most pressing first."""
    steps: list[Step] = []
    if found.set_aside:
        steps.append(("dwell rejects", f"{count(found.set_aside, 'row')} set aside"))
    if found.closed_quarter and not found.is_frozen:
        steps.append(
            (f"dwell report {found.closed_quarter}", "the latest quarter that is complete")
        )
        steps.append((f"dwell freeze {found.closed_quarter}", "keep its figures once they are out"))
    steps += [
        (f"dwell drift {quarter}", "records came in after it was frozen")
        for quarter in found.loaded_since
    ]
    if found.quarters_without_records:
        ended = ", ".join(found.quarters_without_records)
        steps.append(("dwell load FOLDER", f"no records yet after {found.as_of}: {ended} ended"))
    if found.changes:
        steps.append(("dwell change", f"{count(found.changes, 'change')} logged: what came after"))
    return steps
