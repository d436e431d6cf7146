"""`dwell report`: render the report of a quarter, or the comparison."""

from collections.abc import Callable
from pathlib import Path

import click

from pipeline.commands.complete import quarter_names
from pipeline.commands.options import db_option, quiet_option, settings_option

EPILOG = "Example: dwell report 2025-Q4 --pdf --out reports-2025-Q4"


@click.command(epilog=EPILOG)
@click.argument("quarter", required=False, metavar="[QUARTER]", shell_complete=quarter_names)
@click.option("--pdf", "with_pdf", is_flag=True, help="Make a PDF as well.")
@click.option(
    "--renderer",
    type=click.Choice(["auto", "quarto", "builtin"]),
    default="auto",
    show_default=True,
    help="What makes the page; auto is Quarto where it is installed.",
)
@click.option(
    "--audience",
    type=click.Choice(["committee", "shared"]),
    default="shared",
    show_default=True,
    help="Small counts are withheld from what is shared.",
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the report; report-QUARTER unless given.",
)
@db_option
@settings_option
@quiet_option
def report(
    *,
    quarter: str | None,
    with_pdf: bool,
    renderer: str,
    audience: str,
    out: Path | None,
    db: Path,
    settings: Path | None,
    quiet: bool,
) -> None:
    """Render the report of a quarter.

    The latest unless QUARTER is given, such as 2025-Q4. Beside the page come the figures,
    the tables as XLSX and every figure printed as JSON. A report that cannot be made
    leaves the previous one in place.
    """
    from pipeline.report import gather, render
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    load_settings(settings)
    with open_store(db) as store:
        chosen = quarter or gather.latest_quarter(store)
        gather.check_quarter(store, chosen)
    order = render.Order(
        document="quarterly",
        parameters={
            "quarter": chosen,
            "db": str(db.resolve()),
            "audience": audience,
            "settings": str(settings.resolve()) if settings else "",
        },
        out=out or Path(f"report-{chosen}"),
        stem=f"quarterly-{chosen}",
        with_pdf=with_pdf,
        renderer=renderer,
    )
    made = render.render(order, _progress(quiet))
    for path in (made.html, made.pdf):
        if path is not None:
            click.echo(path)


def _progress(quiet: bool) -> Callable[[str], None]:
    """Return what tells on stderr which part is being made."""

    def tell(what: str) -> None:
        if not quiet:
            click.echo(f"  {what}", err=True)

    return tell
