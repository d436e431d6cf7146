"""`dwell measures`: the catalogue, or measures by month, quarter or group."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.complete import measure_names
from pipeline.cli.options import (
    always_quiet_option,
    db_option,
    format_option,
    from_option,
    settings_option,
    site_option,
    to_option,
)
from pipeline.cli.printing import print_frame, to_json
from pipeline.errors import UsageError

if TYPE_CHECKING:
    import polars as pl


@click.command(epilog="Example: dwell measures dislodgement --by quarter --by site --format csv")
@click.argument("names", nargs=-1, metavar="[NAME]...", shell_complete=measure_names)
@click.option(
    "--by",
    multiple=True,
    metavar="COLUMN",
    default=("month",),
    show_default=True,
    help="month, quarter, site, surgeon_type, limb, nerve_target, age_band, "
    "interpreter_needed, ...; may be repeated. `all` gives one row a measure.",
)
@click.option(
    "--beside",
    is_flag=True,
    help="What is printed beside one measure: its parts, and how far families were reached.",
)
@site_option
@from_option
@to_option
@db_option
@settings_option
@format_option
@always_quiet_option
def measures(
    *,
    names: tuple[str, ...],
    by: tuple[str, ...],
    beside: bool,
    sites: tuple[str, ...],
    first: str | None,
    last: str | None,
    db: Path,
    settings: Path | None,
    format_: str,
) -> None:
    """Print a measure by month, quarter or group.

    Without a NAME the catalogue is listed. An episode counts in its month of
    placement; a rate has Wilson limits where it is a proportion and exact Poisson
    limits where it is per catheter-day.
    """
    if not names:
        _print_catalogue(settings, format_)
        return
    from pipeline.answers.measures import measure_rates, rates_beside
    from pipeline.measures.dimensions import check_sites
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    values = load_settings(settings)
    if beside and len(names) != 1:
        raise UsageError("--beside is for one measure.")
    asked: dict[str, Any] = {
        "where": {"site": list(sites)} if sites else None,
        "first": first,
        "last": last,
        "settings": values,
    }
    with open_store(db) as store:
        check_sites(store, sites)
        if beside:
            found = rates_beside(store, names[0], **asked)
        else:
            found = measure_rates(store, names, by=by, **asked)
        if format_ == "table" and found.frame().is_empty():
            click.echo(f"Nothing stands beside {names[0]}.")
            return
        print_frame(_as_table(found.frame()) if format_ == "table" else found.frame(), format_)
        if format_ == "table" and not beside and len(names) == 1:
            more = rates_beside(store, names[0], **asked).frame()
            if not more.is_empty():
                click.echo("\nBeside it, over all of these:")
                print_frame(_as_table(more))


def _print_catalogue(settings: Path | None, format_: str) -> None:
    from dataclasses import asdict

    import polars as pl

    from pipeline.measures.catalogue import load_catalogue
    from pipeline.settings import load_settings

    cards = [asdict(measure) for measure in load_catalogue(load_settings(settings)).values()]
    for card in cards:
        del card["sql"]
    if format_ == "json":
        click.echo(to_json(cards))
        return
    rows = [
        {
            "measure": card["name"],
            "kind": str(card["kind"]),
            "title": card["title"],
            "unit": card["unit"],
            "better": str(card["better"]),
            "chart": ", ".join(card["charts"]),
        }
        for card in cards
    ]
    print_frame(pl.DataFrame(rows), format_)


def _as_table(frame: "pl.DataFrame") -> "pl.DataFrame":
    """Return the rows in words: counts without needless decimals, a rate with its limits."""
    import polars as pl

    def rate_of(row: dict[str, Any]) -> str:
        if row["rate"] is None:
            return ""
        return f"{row['rate']:.3g} ({row['lower']:.3g} to {row['upper']:.3g})"

    counts = [
        pl.col(name).round(1).cast(pl.String).str.strip_suffix(".0")
        for name in ("numerator", "denominator", "episodes", "ascertained")
    ]
    limits = pl.Series("rate (95% limits)", [rate_of(row) for row in frame.to_dicts()])
    return (
        frame.with_columns(*counts)
        .with_columns(limits)
        .drop("rate", "lower", "upper")
        .select(pl.exclude("unit", "provisional"), "unit", "provisional")
    )
