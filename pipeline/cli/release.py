"""`dwell release`: the copy of a quarter that may be passed on."""

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
from pipeline.cli.printing import print_frame
from pipeline.errors import UsageError

if TYPE_CHECKING:
    from pipeline.answers.release import Release, Withheld

REASONS = {
    "few with": "would count few children with it",
    "few without": "would count few children without it",
    "few known": "would be of few children",
    "beside another figure": "would tell of few beside another figure",
    "beside another group": "would let another group be worked out",
    "waits": "wait for the rest of the year",
}


@click.command(epilog="Example: dwell release 2025-Q3 --comparison site --out release-2025-Q3")
@click.argument("quarter", required=False, shell_complete=quarter_names)
@click.option(
    "--comparison",
    type=click.Choice(["site", "surgeon_type"]),
    help="Also tell of these groups, by whole years.",
)
@click.option("--list", "is_list", is_flag=True, help="Say what has been released.")
@pdf_option
@renderer_option
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    help="Folder for the release; release-QUARTER unless given.",
)
@db_option
@settings_option
@quiet_option
def release(*, quarter: str | None, is_list: bool, db: Path, quiet: bool, **asked: Any) -> None:
    """Make the copy of a closed quarter that may be passed on.

    Counts of few children are withheld, and whatever would give one away: beside other
    figures, other groups, and every earlier release of the same store, which remembers
    them. A figure that was told stays as it was told, whatever is corrected later.
    """
    from pipeline.measures.release_ledger import list_releases
    from pipeline.store import open_store, require_store

    require_store(db)
    if is_list:
        with open_store(db) as store:
            print_frame(list_releases(store))
        return
    if quarter is None:
        raise UsageError("Which quarter?", try_next="dwell release 2025-Q3, or --list")
    made, withheld = _decided(db, quarter, asked["settings"], asked["comparison"])
    for path in _rendered(made, quiet=quiet, **asked):
        click.echo(path)
    if not quiet:
        for line in _lines(withheld):
            click.echo(line, err=True)


def _decided(
    db: Path, quarter: str, settings: Path | None, comparison: str | None
) -> "tuple[Release, Withheld]":
    from pipeline.answers.release import release as answer
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    values = load_settings(settings)
    with open_store(db, read_only=False) as store:
        return answer(store, quarter, values, comparison=comparison)


def _rendered(made: "Release", *, quiet: bool, **asked: Any) -> list[Path]:
    """Make the page of a release from its figures alone."""
    from pipeline.report.render import Order, render

    def tell(what: str) -> None:
        if not quiet:
            click.echo(f"  {what}", err=True)

    name = "-".join(["release", made.quarter, *([made.comparison] if made.comparison else [])])
    order = Order(
        "release",
        {"told": "told.json"},
        asked["out"] or Path(f"release-{made.quarter}"),
        name.replace("_", "-"),
        with_pdf=asked["with_pdf"],
        renderer=asked["renderer"],
        files={"told.json": made.text()},
    )
    done = render(order, tell)
    return [path for path in (done.html, done.pdf) if path is not None]


def _lines(withheld: "Withheld") -> list[str]:
    """Say, to the desk alone, how much is told and why the rest is not."""
    whole = withheld.by_quarter + withheld.with_year + withheld.withheld
    share = 100 * (withheld.by_quarter + withheld.with_year) / max(1, whole)
    lines = [
        f"Of {whole} figures, one a measure and quarter, {withheld.by_quarter} are told by quarter,"
        f" {withheld.with_year} with other quarters ({share:.0f}% in all) and"
        f" {withheld.withheld} not yet.",
        f"By group and year: {withheld.groups_told} told, {withheld.groups_withheld} withheld.",
    ]
    if withheld.reasons:
        why = "; ".join(f"{n} {REASONS[name]}" for name, n in sorted(withheld.reasons.items()))
        lines.append(f"Why not, which is for this desk alone: {why}.")
    if withheld.took_too_long:
        lines.append(
            "Finding the best choice took too long: a safe one withholds more than it need."
        )
    return lines
