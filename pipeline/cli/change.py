"""`dwell change`: a logged change judged before against after."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from pipeline.cli.complete import change_ids, measure_names
from pipeline.cli.options import (
    audience_option,
    db_option,
    format_option,
    from_option,
    quiet_option,
    settings_option,
    to_option,
)
from pipeline.cli.printing import make_folder, print_frame, to_json

if TYPE_CHECKING:
    from pipeline.disclosure import Audience
    from pipeline.report.gather_change import JudgedChange


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
@audience_option
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
    audience: Audience,
    db: Path,
    settings: Path | None,
    format_: str,
    quiet: bool,
) -> None:
    """Say what happened after a logged change.

    Without CHANGE_ID, after each. Before against after at the sites that changed, crude
    and given case mix; a segmented regression (level and slope, quasi-likelihood errors);
    the sites without the change as controls; without the first month; and a placebo date
    before the change. What it finds is an association: it cannot say that the change did
    it.
    """
    from pipeline.disclosure import Policy
    from pipeline.errors import NoDataError
    from pipeline.measures.log import logged_change, logged_changes
    from pipeline.measures.periods import checked_months
    from pipeline.report.gather_change import judge_changes
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    values = load_settings(settings)
    policy = Policy.for_audience(audience, values)
    with open_store(db) as store:
        judged, messages = judge_changes(
            store,
            [logged_change(store, change_id)] if change_id else logged_changes(store),
            measures=names,
            months=checked_months(first, last),
            lag=lag,
            policy=policy,
            settings=values,
        )
    if not judged:
        raise NoDataError(" ".join(messages) or "No change is logged.")
    _print(judged, format_)
    if figures is not None:
        _draw(judged, figures)
    if not quiet:
        for message in [*messages, policy.note]:
            click.echo(message, err=True)


def _print(judged: list[JudgedChange], format_: str) -> None:
    from pipeline.report.change_rows import rows, text
    from pipeline.words.change import CAUTION

    if format_ == "table":
        click.echo("\n\n".join([*(text(one) for one in judged), CAUTION]))
        return
    printed = [rows(one) for one in judged]
    if format_ == "json":
        click.echo(to_json(printed))
        return
    import polars as pl

    print_frame(pl.DataFrame(printed, infer_schema_length=None), format_)


def _draw(judged: list[JudgedChange], folder: Path) -> None:
    from pipeline.figures.change import change_figure

    make_folder(folder)
    for one in judged:
        if not one.is_withheld:
            drawn = change_figure(one.effect, one.measure, span=one.span, name=one.change.title)
            drawn.save(folder / f"{one.change.change_id}_{one.measure.name}.svg")
