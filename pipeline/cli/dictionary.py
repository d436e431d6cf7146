"""`dwell dictionary`: what every record, view, measure and column means."""

import click

from pipeline.cli.complete import described_names
from pipeline.cli.options import always_quiet_option
from pipeline.cli.printing import to_json


@click.command(epilog="Example: dwell dictionary episode_dwell")
@click.argument("name", required=False, shell_complete=described_names)
@click.option(
    "--format",
    "format_",
    type=click.Choice(["markdown", "json"]),
    default="markdown",
    show_default=True,
    help="How it is printed.",
)
@always_quiet_option
def dictionary(name: str | None, format_: str) -> None:
    """Describe the records, views and columns.

    NAME is a record, a view or a measure; without it everything is printed. No
    store is needed.
    """
    from pipeline.measures.dictionary import as_markdown, as_rows, entries

    found = entries(name)
    click.echo(to_json(as_rows(found)) if format_ == "json" else as_markdown(found))
