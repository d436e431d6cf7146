"""`dwell undo`: take a load back."""

from pathlib import Path

import click

from pipeline.cli.complete import load_numbers
from pipeline.cli.options import db_option, quiet_option


@click.command(epilog="Example: dwell undo 3")
@click.argument("load_id", type=int, shell_complete=load_numbers)
@db_option
@quiet_option
def undo(load_id: int, db: Path, quiet: bool) -> None:
    """Take a load back.

    What it brought goes, what it replaced comes back. Every version stays in the
    history. A load on which later ones rest is not taken back before them.
    """
    from pipeline.store import require_store
    from pipeline.store.undo import undo_load

    require_store(db)
    result = undo_load(db, load_id)
    if quiet:
        return
    rows = ", ".join(f"{name} {count:,}" for name, count in result.taken_out.items() if count)
    back = ", ".join(f"{name} {count:,}" for name, count in result.brought_back.items() if count)
    click.echo(f"Load {load_id} is taken back, by load {result.load_id}.", err=True)
    click.echo(f"  rows taken out: {rows or 'none'}", err=True)
    click.echo(f"  earlier versions brought back: {back or 'none'}", err=True)
