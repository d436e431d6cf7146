"""`dwell signals`: all signals of all measures and sites in a quarter."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.complete import quarter_names
from pipeline.cli.options import (
    db_option,
    format_option,
    quiet_option,
    settings_option,
)

if TYPE_CHECKING:
    from pipeline.cli.signal_scan import Found, Scan
    from pipeline.measures.signal_log import LoggedSignal
    from pipeline.settings import Settings
    from pipeline.store import Store

Row = dict[str, Any]
RULE_WORDS = {
    "beyond_limit": "a point beyond a limit", "long_run": "a long run",
    "few_crossings": "few crossings",
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

    Of all measures, of the network and each site, in QUARTER or the latest. Most
    important first: what stands when all charts looked at are counted (false discovery
    rate 5%), what points to worse, outcomes before process and balancing measures. A
    signal is a reason to look.
    """
    from pipeline.cli.signal_scan import keep_scan
    from pipeline.measures.quarters import check_quarter, latest_quarter
    from pipeline.measures.signal_log import is_kept
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    values = load_settings(settings)
    with open_store(db) as store:
        chosen = quarter or latest_quarter(store)
        check_quarter(store, chosen)
        found, before, was_kept = _compared(store, chosen, values)
        record = record and not is_kept(store, chosen, [f.logged for f in found.found])
    if record:
        with open_store(db, read_only=False) as store:
            keep_scan(store, found)
    if not was_kept and not quiet:
        click.echo("The quarter before was not listed at its time; its signals are those "
                   "that the store shows for it now.", err=True)  # fmt: skip
    _print(found, before, format_, most)


def _compared(
    store: Store, quarter: str, settings: Settings
) -> tuple[Scan, Sequence[LoggedSignal], bool]:
    """Judge a quarter's charts; return the signals of the quarter before, and if they were kept."""
    from pipeline.cli.signal_scan import read_material, scan
    from pipeline.measures.log import logged_changes
    from pipeline.measures.periods import months_of
    from pipeline.measures.signal_log import kept_signals
    from pipeline.words.numbers import quarter_before

    material, log = read_material(store, months_of(quarter)[1], settings), logged_changes(store)
    found, previous = scan(material, log, quarter), quarter_before(quarter)
    kept = kept_signals(store, previous)
    if kept is not None:
        return found, kept, True
    then = scan(material, log, previous)
    return found, [one.logged for one in then.found], then.charts == 0


def _print(scan: Scan, before: Sequence[LoggedSignal], format_: str, most: int) -> None:
    from pipeline.cli.charting import OVERALL
    from pipeline.cli.printing import print_frame, to_json
    from pipeline.measures.signal_log import states

    state, gone = states([found.logged for found in scan.found], before)
    rows = [_row(found, s) for found, s in zip(scan.found, state, strict=True)]
    gone.sort(key=lambda signal: (signal.site != OVERALL, signal.adjusted_p, signal.p_value))
    ended = [_ended_row(signal, scan) for signal in gone]
    if format_ == "json":
        said = {"quarter": scan.quarter, "charts": scan.charts, "signals": rows, "ended": ended}
        click.echo(to_json(said))
    elif format_ == "csv":
        import polars as pl

        print_frame(pl.DataFrame([*rows, *ended], infer_schema_length=None), "csv")
    else:
        click.echo("\n".join(_lines(scan, rows, ended, most or len(rows) + len(ended))))


def _row(found: Found, state: str) -> Row:
    signal = found.signal
    return {
        "measure": found.looked.measure.name,
        "site": found.looked.site,
        "kind": signal.kind,
        "direction": signal.direction,
        "for_the": found.direction or None,
        "first": signal.first,
        "last": signal.last,
        "state": state,
        "stands": found.stands,
        "p_value": float(f"{signal.p_value:.3g}"),
        "adjusted_p": float(f"{found.adjusted_p:.3g}"),
        "chart": found.looked.chart.kind,
        "sentence": found.logged.sentence,
    }


def _ended_row(signal: LoggedSignal, scan: Scan) -> Row:
    since = scan.limits_since.get((signal.measure, signal.site), "")
    redrawn = signal.first_period < since <= signal.last_period
    return {
        "measure": signal.measure,
        "site": signal.site,
        "kind": signal.kind,
        "direction": signal.direction,
        "first": signal.first_period,
        "last": signal.last_period,
        "state": "ended",
        "new_limits_since": since if redrawn else None,
    }


def _lines(scan: Scan, rows: Sequence[Row], ended: Sequence[Row], most: int) -> list[str]:
    """Write the list for people: the most important signals, and the others counted."""
    standing = sum(row["stands"] for row in rows)
    new = sum(row["state"] == "new" for row in rows)
    said = [
        f"{scan.quarter}: {_count(len(rows), 'signal')} in {_count(scan.charts, 'chart')} looked "
        f"at; {standing} stand when all of them are counted (false discovery rate 5%).",
        f"{new} new, {len(rows) - new} continuing, {len(ended)} ended since the quarter before.",
    ]
    shown = rows[:most]
    for title, part in (
        ("Stand", [row for row in shown if row["stands"]]),
        ("Could be chance, given so many charts", [row for row in shown if not row["stands"]]),
    ):
        if part:
            said += ["", f"{title}:", *(_line(row) for row in part)]
    said += _others(len(rows), most)
    if ended:
        said += ["", "Ended since the quarter before:", *(_ended_line(row) for row in ended[:most])]
        said += _others(len(ended), most)
    return said


def _others(number: int, most: int) -> list[str]:
    """Count what is not listed."""
    return [f"  and {number - most:,} more; --most 0 lists all"] if number > most else []


def _count(number: int, what: str) -> str:
    return f"{number:,} {what}{'' if number == 1 else 's'}"


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
