"""`dwell rejects`: the rows that were set aside."""

from pathlib import Path

import click

from pipeline.cli.options import db_option, format_option, quiet_option
from pipeline.cli.printing import print_frame
from pipeline.records.layout import RECORDS


@click.command(epilog="Example: dwell rejects --file episode.csv --out episode.corrected.csv")
@click.option("--record", type=click.Choice(list(RECORDS)), help="Only rows of this record.")
@click.option("--file", "file_name", metavar="NAME", help="Only rows of the file of this name.")
@click.option(
    "--out",
    "--csv",
    "out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write the rows, as they were sent, to this CSV file for correction.",
)
@db_option
@format_option
@quiet_option
def rejects(
    *,
    record: str | None,
    file_name: str | None,
    out: Path | None,
    db: Path,
    format_: str,
    quiet: bool,
) -> None:
    """List or export rows set aside.

    With --out they are written in the site's own layout; correct them there and load
    that file with the same mapping (name it RECORD.anything.csv). Answer yes under
    `confirmed` where a questioned value is right.
    """
    from pipeline.store import open_store
    from pipeline.store.rejects import export_rejects, rows_set_aside

    with open_store(db) as store:
        if out is None:
            print_frame(rows_set_aside(store, record=record, file=file_name), format_)
            return
        rows = export_rejects(store, out, record=record, file=file_name)
    if not quiet:
        from pipeline.words.numbers import count

        click.echo(f"{count(rows, 'row')} written to {out}.", err=True)
