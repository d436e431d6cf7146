"""`dwell signals`: all signals of all measures and sites in a quarter."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.complete import quarter_names
from pipeline.cli.options import db_option, format_option, quiet_option, settings_option

if TYPE_CHECKING:
    from pipeline.answers.signals import QuarterSignals

Row = dict[str, Any]
RULE_WORDS = {
    "call": "a call", "watch": "a watch", "beyond_limit": "a point beyond a limit",
    "long_run": "a long run",
}  # fmt: skip
LEVEL_TITLES = {
    "safety": "Safety: look at every case", "call": "Moved", "watch": "May be moving: watch",
    "mark": "Marks on the charts, which chance brings, too",
}  # fmt: skip
MOST_LISTED = 20


@click.command(epilog="Example: dwell signals 2025-Q4")
@click.argument("quarter", required=False, metavar="[QUARTER]", shell_complete=quarter_names)
@click.option(
    "--record/--no-record",
    default=True,
    help="Keep the list in the store, so that the next quarter can say what is new.",
)
@click.option(
    "--most",
    type=click.IntRange(min=0),
    default=MOST_LISTED,
    show_default=True,
    help="Lines of the list, the most important first; 0 for all. CSV and JSON hold all.",
)
@db_option
@settings_option
@format_option
@quiet_option
def signals(
    *,
    quarter: str | None,
    record: bool,
    most: int,
    db: Path,
    settings: Path | None,
    format_: str,
    quiet: bool,
) -> None:
    """List the signals of all control charts.

    Of all measures, of the network and each site, in QUARTER or the latest. Safety
    measures first, each site judged for itself; then what moved, with a false call in at
    most one of ten quarters among all charts; then what may be moving. A signal is a
    reason to look.
    """
    from pipeline.answers.signals import quarter_signals
    from pipeline.measures.quarters import latest_quarter
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    values = load_settings(settings)
    with open_store(db) as store:
        found = quarter_signals(store, quarter or latest_quarter(store), settings=values)
        record = record and not found.is_kept_in(store)
    if record:
        with open_store(db, read_only=False) as store:
            found.keep_in(store)
    if not found.was_kept and not quiet:
        click.echo("The quarter before was not listed at its time; its signals are those "
                   "that the store shows for it now.", err=True)  # fmt: skip
    _print(found, format_, most)


def _print(found: QuarterSignals, format_: str, most: int) -> None:
    from pipeline.cli.printing import print_frame, to_json

    if format_ == "json":
        click.echo(to_json(found.as_json()))
    elif format_ == "csv":
        print_frame(found.frame(), "csv")
    else:
        said = found.as_json()
        rows, ended = said["signals"], said["ended"]
        click.echo("\n".join(_lines(said, rows, ended, most or len(rows) + len(ended))))


def _lines(said: Row, rows: Sequence[Row], ended: Sequence[Row], most: int) -> list[str]:
    """Write the list for people: the most important signals, and the others counted."""
    from pipeline.words.numbers import count

    levels = [row["level"] for row in rows]
    called, new = levels.count("call"), sum(row["state"] == "new" for row in rows)
    lines = [
        f"{said['quarter']}: {count(said['charts'], 'chart')} looked at; "
        f"{count(levels.count('safety'), 'safety call')}, {count(called, 'call')}, "
        f"{count(levels.count('watch'), 'watch', 'watches')}, "
        f"{count(levels.count('mark'), 'mark')}.",
        f"{new} new, {len(rows) - new} continuing, {len(ended)} ended since the quarter before.",
    ]
    shown = rows[:most]
    for level, title in LEVEL_TITLES.items():
        part = [row for row in shown if row["level"] == level]
        if part:
            lines += ["", f"{title}:", *(_line(row) for row in part)]
    lines += _others(len(rows), most)
    if ended:
        lines += ["", "Ended since the quarter before:", *map(_ended_line, ended[:most])]
        lines += _others(len(ended), most)
    return lines


def _others(number: int, most: int) -> list[str]:
    """Count what is not listed."""
    return [f"  and {number - most:,} more; --most 0 lists all"] if number > most else []


def _line(row: Row) -> str:
    way = f", {row['for_the']}" if row["for_the"] else ""
    return f"  {row['measure']}, {_whose(row)} ({row['state']}{way}): {row['sentence']}"


def _ended_line(row: Row) -> str:
    from pipeline.words.numbers import month

    what = RULE_WORDS.get(row["kind"], row["kind"])
    first, last = month(row["first"]), month(row["last"])
    when = first if first == last else f"{first} to {last}"
    since = row["new_limits_since"]
    redrawn = f" (new limits since {month(since)}, at a logged change)" if since else ""
    return f"  {row['measure']}, {_whose(row)}: {what}, {when}{redrawn}"


def _whose(row: Row) -> str:
    return "network" if row["site"] == "all" else str(row["site"])
