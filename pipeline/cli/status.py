"""`dwell status`: what the store holds."""

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.load import warnings
from pipeline.cli.options import always_quiet_option, db_option, format_option
from pipeline.cli.printing import print_frame, table_lines, to_json

if TYPE_CHECKING:
    from pipeline.store import Store


@click.command(epilog="Example: dwell status --db dwell.duckdb")
@click.option("--completeness", "fields", is_flag=True, help="How complete each field is.")
@db_option
@format_option
@always_quiet_option
def status(fields: bool, db: Path, format_: str) -> None:
    """Say what the store holds.

    Which loads brought it, what became of every row that came in, what is set aside.
    """
    from pipeline.store import holdings, open_store

    with open_store(db) as store:
        if store.holds_counts:
            print_frame(holdings.counts_origin(store), format_)
        elif fields:
            _print_completeness(store, format_)
        elif format_ == "csv":
            print_frame(holdings.loads(store), "csv")
        elif format_ == "json":
            click.echo(to_json(_everything(store)))
        else:
            _print_table(store)


def _everything(store: "Store") -> dict[str, Any]:
    from pipeline.store import holdings
    from pipeline.store.checks import run_checks

    return {
        "store": store.path.name,
        "as_of": store.as_of(),
        "fingerprint": store.fingerprint(),
        "records": holdings.records(store).to_dicts(),
        "loads": holdings.loads(store).to_dicts(),
        "set_aside": holdings.set_aside(store).to_dicts(),
        "warnings": [asdict(finding) for finding in run_checks(store)],
    }


def _print_table(store: "Store") -> None:
    from pipeline.store import holdings
    from pipeline.store.checks import run_checks

    click.echo(
        f"{store.path}: records as of {store.as_of()}, data fingerprint {store.fingerprint()}\n"
    )
    click.echo("\n".join(table_lines(holdings.records(store))) + "\n")
    loads = holdings.loads(store).drop("balances", "undoes")
    click.echo("\n".join(table_lines(loads)) + "\n")
    kept = holdings.set_aside(store)
    if kept.is_empty():
        click.echo("No rows are set aside.")
    else:
        click.echo("\n".join(["Rows set aside:", *table_lines(kept)]))
    click.echo("\n".join(warnings(run_checks(store))))


def _print_completeness(store: "Store", format_: str) -> None:
    """Print a row a field, site and quarter; as a table, a row a field and a column a site."""
    import polars as pl

    from pipeline.store.completeness import completeness

    frame = completeness(store)
    if format_ != "table":
        print_frame(frame, format_)
        return
    share = 100 * pl.col("filled").sum() / pl.col("expected").sum()
    by_site = frame.group_by("record", "field", "site", maintain_order=True).agg(
        pl.when(pl.col("expected").sum() > 0).then(share.round(1)).alias("share")
    )
    click.echo("Percent filled, of the rows in which the field can be expected:\n")
    print_frame(by_site.pivot("site", index=["record", "field"], values="share"))
