"""`dwell report`: render the report of a quarter, or the comparison."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from pipeline.cli.complete import quarter_names
from pipeline.cli.options import (
    db_option,
    pdf_option,
    quiet_option,
    renderer_option,
    settings_option,
)

if TYPE_CHECKING:
    from pipeline.report.render import Order

EPILOG = (
    "Example: dwell report 2025-Q4 --pdf --out reports-2025-Q4, or dwell report --comparison site"
)


@click.command(epilog=EPILOG)
@click.argument("quarter", required=False, shell_complete=quarter_names)
@click.option(
    "--comparison",
    "by",
    type=click.Choice(["site", "surgeon_type"]),
    help="Compare these over the eight quarters up to QUARTER instead.",
)
@pdf_option
@renderer_option
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the report; report-QUARTER unless given.",
)
@db_option
@settings_option
@quiet_option
def report(*, quarter: str | None, quiet: bool, **asked: Any) -> None:
    """Render the report of a quarter.

    The latest unless QUARTER is given, such as 2025-Q4. Beside the page come the figures,
    the tables as XLSX and every figure printed as JSON. A report that cannot be made
    leaves the previous one in place.
    """
    from pipeline.measures.quarters import check_quarter, latest_quarter
    from pipeline.report import render
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    load_settings(asked["settings"])
    with open_store(asked["db"]) as store:
        chosen = quarter or latest_quarter(store)
        check_quarter(store, chosen)
    made = render.render(_order(chosen, **asked), _progress(quiet))
    for path in (made.html, made.pdf):
        if path is not None:
            click.echo(path)


def _order(
    quarter: str,
    *,
    by: str | None,
    db: Path,
    settings: Path | None,
    out: Path | None,
    **how: Any,
) -> "Order":
    from pipeline.report.render import Order

    parameters = {
        "quarter": quarter,
        "db": str(db.resolve()),
        "settings": str(settings.resolve()) if settings else "",
    }
    if by is None:
        place = out or Path(f"report-{quarter}")
        return Order("quarterly", parameters, place, f"quarterly-{quarter}", **how)
    name = f"{by.replace('_', '-')}-{quarter}"
    place = out or Path(f"comparison-{name}")
    return Order("comparison", parameters | {"by": by}, place, f"comparison-{name}", **how)


def _progress(quiet: bool) -> Callable[[str], None]:
    """Return what tells on stderr which part is being made."""

    def tell(what: str) -> None:
        if not quiet:
            click.echo(f"  {what}", err=True)

    return tell
