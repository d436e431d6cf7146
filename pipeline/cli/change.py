"""`dwell change`: a logged change judged before against after."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.complete import change_ids, measure_names
from pipeline.cli.options import (
    db_option,
    format_option,
    from_option,
    quiet_option,
    settings_option,
    to_option,
)
from pipeline.cli.printing import make_folder, print_frame, to_json

if TYPE_CHECKING:
    from pipeline.answers.change import JudgedChanges


@click.command(epilog="Example: dwell change securement --measure dislodgement --lag 1")
@click.argument("change_id", required=False, shell_complete=change_ids)
@click.option(
    "--measure",
    "names",
    multiple=True,
    shell_complete=measure_names,
    metavar="NAME",
    help="Only this measure; may be repeated. Those logged unless named.",
)
@click.option(
    "--lag",
    type=click.IntRange(min=0, max=24),
    default=0,
    show_default=True,
    help="Months of settling in that the trend leaves out.",
)
@from_option
@to_option
@click.option(
    "--out",
    "figures",
    type=click.Path(file_okay=False, path_type=Path),
    help="Also draw each into this folder.",
)
@db_option
@settings_option
@format_option
@quiet_option
def change(
    *,
    change_id: str | None,
    names: tuple[str, ...],
    lag: int,
    first: str | None,
    last: str | None,
    figures: Path | None,
    db: Path,
    settings: Path | None,
    format_: str,
    quiet: bool,
) -> None:
    """Say what happened after a logged change.

    Without CHANGE_ID, after each. The change at its sites is set against that of the
    sites without it, in the same quarters, and judged by how much sites drift from
    quarter to quarter by themselves; the quarter before the change is left out. Beside it
    stand the same comparison at a placebo date before the change, before against after
    crude and given case mix, a segmented regression (level and slope), and the figures
    without the first month. What it finds is an association: it cannot say that the
    change did it.
    """
    from pipeline.answers.change import judge_changes
    from pipeline.errors import NoDataError
    from pipeline.measures.periods import checked_months
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    with open_store(db) as store:
        found = judge_changes(
            store,
            change_id,
            measures=names,
            months=checked_months(first, last),
            lag=lag,
            settings=load_settings(settings),
        )
    if not found.judged:
        raise NoDataError(" ".join(found.messages) or "No change is logged.")
    _print(found, format_)
    if figures is not None:
        make_folder(figures)
        for one in found.judged:
            one.figure().save(figures / f"{one.change.change_id}_{one.measure.name}.svg")
    if not quiet:
        for message in found.messages:
            click.echo(message, err=True)


def _print(found: JudgedChanges, format_: str) -> None:
    from pipeline.words.change import CAUTION, change_paragraph

    if format_ == "table":
        click.echo("\n\n".join([*(change_paragraph(one) for one in found.judged), CAUTION]))
    elif format_ == "json":
        click.echo(to_json(found.as_json()))
    else:
        print_frame(found.frame(), format_)
