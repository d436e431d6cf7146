"""`dwell compare`: groups side by side, crude, adjusted and shrunken; never ranked."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.shell_completion import CompletionItem

from pipeline.cli.complete import measure_names, quarter_names
from pipeline.cli.options import (
    db_option,
    format_option,
    from_option,
    quiet_option,
    settings_option,
    to_option,
)
from pipeline.cli.printing import make_folder, print_frame, to_json
from pipeline.measures.dimensions import COMPARED_BY

if TYPE_CHECKING:
    from pipeline.answers.comparison import ComparedGroups
    from pipeline.answers.imputation import ImputedGroups

MOST_FACTORS = 2


class Groups(click.ParamType):
    """What is compared, or that and what it is compared inside of, parted by a comma."""

    name = "groups"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[str, ...]:
        """Split at the comma; one name or two of those there are."""
        names = tuple(part.strip() for part in value.split(","))
        unknown = [name for name in names if name not in COMPARED_BY]
        if unknown:
            self.fail(f"{unknown[0]!r} is not one of {', '.join(COMPARED_BY)}.", param, ctx)
        if len(names) > MOST_FACTORS:
            self.fail("groups can be compared inside of one other at a time.", param, ctx)
        return names

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """Complete the last name that is typed."""
        typed, comma, last = incomplete.rpartition(",")
        start = typed + comma
        return [
            CompletionItem(start + name)
            for name in COMPARED_BY
            if name.startswith(last) and name not in typed
        ]


@click.command(epilog="Example: dwell compare --by site --measure leakage --quarter 2025-Q4")
@click.option(
    "--by",
    type=Groups(),
    default="site",
    show_default=True,
    metavar="GROUPS[,STRATA]",
    help=f"Groups: {', '.join(COMPARED_BY)}. With a comma and another, groups inside of each of"
    " those: site,surgeon_type compares sites on their children of the same surgeon type.",
)
@click.option(
    "--measure",
    "names",
    multiple=True,
    shell_complete=measure_names,
    metavar="NAME",
    help="Only this measure; may be repeated. All unless named.",
)
@click.option(
    "--quarter", metavar="YYYY-Qn", shell_complete=quarter_names, help="Quarter of placement."
)
@from_option
@to_option
@click.option(
    "--adjust/--no-adjust", default=True, show_default=True, help="Allow for case mix, or not."
)
@click.option(
    "--order",
    type=click.Choice(["name", "volume"]),
    default="name",
    show_default=True,
    help="By name, or the largest first; never by result.",
)
@click.option(
    "--out",
    "figures",
    type=click.Path(file_okay=False, path_type=Path),
    help="Also draw funnels, ratios and how well each case-mix model fits into this folder.",
)
@click.option(
    "--missing",
    is_flag=True,
    help="What the missing could change: ratios of complete cases beside those with 20"
    " imputations, and how far from chance the missing would have to be.",
)
@db_option
@settings_option
@format_option
@quiet_option
def compare(
    *,
    by: tuple[str, ...],
    names: tuple[str, ...],
    quarter: str | None,
    first: str | None,
    last: str | None,
    adjust: bool,
    order: str,
    figures: Path | None,
    missing: bool,
    db: Path,
    settings: Path | None,
    format_: str,
    quiet: bool,
) -> None:
    """Compare sites, surgeon types or other groups.

    Each group has its own rate with limits; the number expected of its children, by a
    model of case mix fitted on the other groups; their ratio with limits; an estimate
    drawn towards what is expected, with an interval; and the probability of lying
    above it.

    Ordinary groups differ a little, by an amount learned from the other groups and from
    all measures. A group is called different if it is further away than one more
    ordinary group would be: by a step-down test among the groups of its measure, at a
    false discovery rate of 5% over all that is printed together, and by a ratio of at
    least `smallest_ratio` (settings). The limits are those of the same test.

    A group far from the rest is left out of what is expected of the others, so that
    one bad site makes no other look good.

    There is no ranking and no order by result: among groups that do not differ at all
    one is always first and one last, so that a league table sorts chance.
    """
    from pipeline.answers.comparison import compare_groups
    from pipeline.answers.imputation import imputed_groups
    from pipeline.measures.catalogue import find_measure, measures_in_force
    from pipeline.measures.quarters import check_quarter
    from pipeline.settings import load_settings
    from pipeline.store import open_store

    values = load_settings(settings)
    measures = [find_measure(name, values) for name in dict.fromkeys(names)]
    with open_store(db) as store:
        if quarter:
            check_quarter(store, quarter)
        if missing:
            chosen = measures or measures_in_force(values)
            months = _months(quarter, first, last)
            _print_missing(
                imputed_groups(store, chosen, by=by[0], months=months, settings=values), format_
            )
            return
        found = compare_groups(
            store,
            measures or measures_in_force(values),
            by=by[0],
            within=by[1] if len(by) == MOST_FACTORS else None,
            months=_months(quarter, first, last),
            adjust=adjust,
            order=order,
            settings=values,
        )
    _print(found, format_)
    if figures is not None:
        _draw(found, figures)
    if not quiet:
        click.echo(_about(adjust), err=True)


def _months(quarter: str | None, first: str | None, last: str | None) -> tuple[str, str] | None:
    from pipeline.errors import UsageError
    from pipeline.measures.periods import checked_months, months_of

    if quarter is None:
        return checked_months(first, last)
    if first is not None or last is not None:
        raise UsageError("A quarter and months were both asked for.", try_next="one of them")
    return months_of(quarter)


def _about(adjust: bool) -> str:
    what = "the other groups' children" + (" of like case mix" if adjust else "")
    return (
        f"Expected numbers are those of {what}; provisional months are left out. "
        "Observational: a difference is a reason to look, not a verdict."
    )


def _print(found: ComparedGroups, format_: str) -> None:
    import polars as pl

    if format_ == "json":
        click.echo(to_json(found.as_json()))
    elif format_ == "csv":
        print_frame(found.frame(), "csv")
    else:
        rows = [_as_table(row) for row in found.as_json()]
        print_frame(pl.DataFrame(rows, infer_schema_length=None))


def _as_table(row: dict[str, Any]) -> dict[str, Any]:
    """Fold limits into one column each, so that a row fits a screen."""
    return {
        "measure": row["measure"],
        "group": row["group"],
        "episodes": row["episodes"],
        "n": row["numerator"],
        "rate (95%)": _with_limits(row, "rate", "lower", "upper"),
        "expected": None if row["expected"] is None else f"{row['expected']:,.1f}",
        "ratio (95%)": _with_limits(row, "ratio", "ratio_lower", "ratio_upper"),
        "shrunken (95%)": _with_limits(row, "shrunken", "shrunken_lower", "shrunken_upper"),
        "above": None if row["above_network"] is None else _probability(row["above_network"]),
        "called": row["called"],
        "note": row["note"],
    }


def _print_missing(found: ImputedGroups, format_: str) -> None:
    if format_ == "json":
        click.echo(to_json(found.as_json()))
    elif format_ == "csv":
        print_frame(found.frame(), "csv")
    else:
        click.echo("\n".join(found.sentences()) or "Nothing is missing.")


def _probability(value: float) -> str:
    return f"{value:.2f}" if 0.01 <= value <= 0.99 else "<0.01" if value < 0.5 else ">0.99"


def _with_limits(row: dict[str, Any], value: str, lower: str, upper: str) -> str | None:
    if row[value] is None:
        return None
    limits = ("?" if row[name] is None else f"{row[name]:.3g}" for name in (lower, upper))
    return f"{row[value]:.3g} ({' to '.join(limits)})"


def _draw(found: ComparedGroups, folder: Path) -> None:
    make_folder(folder)
    for (measure, stratum, kind), drawing in found.figures().items():
        name = "_".join(filter(None, [measure, stratum, kind])).replace(" ", "_")
        drawing.save(folder / f"{name}.svg")
