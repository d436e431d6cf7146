"""`dwell removal`: how long catheters stay, and why they come out."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from pipeline.cli.options import (
    Decorator,
    always_quiet_option,
    db_option,
    format_option,
    from_option,
    to_option,
)
from pipeline.errors import UsageError

if TYPE_CHECKING:
    from pipeline.analysis.survival.model_data import Model
    from pipeline.answers.removal import RemovalResult

EPILOG = 'Example: dwell removal --by limb --where "age_years < 12" --out reasons.svg'
FIGURES = (
    "reasons", "time-in-place", "forest", "ratios-by-day", "hazard", "clock-hour", "pump",
    "planned-end",
)  # fmt: skip


where_option: Decorator = click.option(
    "--where",
    metavar="CONDITION",
    help="Only episodes for which it holds, such as \"limb = 'lower' and age_years < 6\".",
)
at_option: Decorator = click.option(
    "--at",
    default="24,48,72",
    show_default=True,
    metavar="HOURS",
    help="Hours to read the curves at, with commas, or `all` for every distinct hour.",
)


@click.command(epilog=EPILOG)
@click.option("--by", metavar="COLUMN", help="Compare groups: site, limb, surgeon_type, ...")
@click.option(
    "--strata",
    metavar="COLUMN",
    help="Compare groups, or the catheters of a Cox model, within the levels of a column.",
)
@click.option(
    "--random",
    metavar="COLUMN",
    help="With --adjust: how much the levels of a column, such as site, differ at random.",
)
@where_option
@from_option
@to_option
@at_option
@click.option(
    "--until", type=click.FloatRange(min=0, min_open=True), metavar="HOURS",
    help="Follow no episode beyond this hour.",
)  # fmt: skip
@click.option(
    "--adjust", metavar="COLUMNS", help="Model on these columns, with commas: age_years,limb,..."
)
@click.option(
    "--model",
    type=click.Choice(["cox", "finegray", "aft"]),
    default=None,
    help="With --adjust: cox (what drives the reason; unless given), finegray (what share) or "
    "aft (how much longer without unplanned removal).",
)
@click.option(
    "--missing",
    "impute",
    type=int,
    flag_value=20,
    default=0,
    help="With --adjust: what the missing could change: complete cases beside 20 imputations, "
    "and how unlike the known the missing would have to be.",
)
@click.option(
    "--reason",
    metavar="REASON",
    default="dislodged",
    show_default=True,
    help="Reason to model and to time.",
)
@click.option("--hazard", is_flag=True, help="When the reason happens: by hour and by clock hour.")
@click.option("--planned-end", is_flag=True, help="Courses laid together at their planned end.")
@click.option("--pump", is_flag=True, help="The pump's expected run-time against time in place.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Draw one figure into a file, .svg or .png, or all into a folder.",
)
@click.option("--figure", type=click.Choice(FIGURES), help="Which, into a file.")
@db_option
@format_option
@always_quiet_option
def removal(
    *,
    by: str | None,
    strata: str | None,
    random: str | None,
    where: str | None,
    first: str | None,
    last: str | None,
    at: str,
    until: float | None,
    adjust: str | None,
    model: Model | Literal["aft"] | None,
    impute: int,
    reason: str,
    hazard: bool,
    planned_end: bool,
    pump: bool,
    out: Path | None,
    figure: str | None,
    db: Path,
    format_: str,
) -> None:
    """How long catheters stay, and why they come out.

    Reasons compete: at every hour their incidences and the proportion still in place
    add to one. With --by the groups are compared, with --adjust a model is fitted and
    put in words. Associations, not causes; local policy and licensed clinicians decide.
    """
    from pipeline.answers.removal import removal_result
    from pipeline.store import open_store

    with open_store(db) as store:
        result = removal_result(
            store,
            by=by,
            strata=strata,
            random=random,
            where=where,
            first=first,
            last=last,
            at=hours_of(at),
            until_h=until,
            reason=reason,
            adjust=terms_of(adjust, model or ("cox" if impute else None)),
            model=model or "cox",
            impute=impute,
            check=True,
            hazard=hazard or figure in {"hazard", "clock-hour"},
            pump=pump or figure == "pump",
            planned_end=planned_end or figure == "planned-end",
        )
    if out is not None:
        _draw(result, out, figure or ("forest" if adjust else "reasons"))
    _print(result, format_)


def hours_of(text: str) -> tuple[float, ...] | None:
    """Read the hours to read the curves at; None for `all`.

    Raises
    ------
    UsageError
        A word is no hour, or there is none.
    """
    if text.strip() == "all":
        return None
    try:
        hours = tuple(sorted({float(word) for word in text.split(",")}))
    except ValueError:
        hours = ()
    if not hours or not all(0 <= hour < float("inf") for hour in hours):
        raise UsageError("--at takes hours with commas, or all.", try_next="--at 24,48,72")
    return hours


def terms_of(text: str | None, model: str | None) -> tuple[str, ...]:
    """Read the columns of a model.

    Raises
    ------
    UsageError
        A model was asked for without any.
    """
    terms = tuple(word.strip() for word in (text or "").split(",") if word.strip())
    if not terms and (model is not None or text is not None):
        raise UsageError("A model needs columns.", try_next="--adjust age_years,limb")
    return terms


def _draw(result: RemovalResult, out: Path, figure: str) -> None:
    """Write one figure where `out` ends in .svg or .png, else all there are into a folder."""
    from pipeline.cli.printing import make_folder
    from pipeline.figures.look import standalone

    if out.suffix:
        standalone(result.figure(figure)).save(out)
        return
    make_folder(out)
    for name in result.figures:
        standalone(result.figure(name)).save(out / f"{name}.svg")


def _print(result: RemovalResult, format_: str) -> None:
    from pipeline.cli.printing import print_frame, to_json

    if format_ == "json":
        click.echo(to_json(result.as_json()))
    elif format_ == "csv":
        print_frame(result.frame(), "csv")
    else:
        from pipeline.words.removal import removal_words

        for part in removal_words(result):
            if isinstance(part, str):
                click.echo(part)
            else:
                print_frame(part)
