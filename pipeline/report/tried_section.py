"""What was tried: each logged change, before and after, and beside sites without it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pipeline.answers.change import JudgedChange, JudgedChanges, Row
from pipeline.measures.log import LoggedChange
from pipeline.report import markdown
from pipeline.report.markdown import TableColumn, prose, slug
from pipeline.report.numbers import Number, Sentence
from pipeline.report.page import Page, block
from pipeline.report.workbook import Sheet
from pipeline.words import numbers as words
from pipeline.words.change import CAUTION, moved, sentence
from pipeline.words.numbers import figure

_FROM_ROW = ("before", "after")
_RATIOS = {
    "": "after ÷ before",
    "adjusted_": "after ÷ before, same case mix",
    "controls_": "after ÷ before at sites without the change",
    "against_drift": "change ÷ change at sites without it, given drift",
    "placebo": "the same before the change",
}


def _id(judged: JudgedChange) -> str:
    return f"change/{judged.change.change_id}/{judged.measure.name}"


def tried_numbers(tried: JudgedChanges) -> list[Number]:
    """Return rates before and after, and ratios, of every judged change."""
    found = []
    for judged in tried.judged:
        row, unit = judged.as_json(), judged.measure.unit
        for side in _FROM_ROW:
            value = row[f"{side}_rate"]
            found.append(
                Number(
                    f"{_id(judged)}/{side}",
                    value,
                    unit,
                    row[f"{side}_numerator"],
                    row[f"{side}_denominator"],
                    row[f"{side}_lower"],
                    row[f"{side}_upper"],
                )
            )
        for prefix in _RATIOS:
            value, lower, upper = _ratio(row, prefix)
            name = f"{_id(judged)}/ratio/{prefix.strip('_') or 'crude'}"
            found.append(Number(name, value, "ratio", lower=lower, upper=upper))
    return found


def _ratio(row: Row, prefix: str) -> tuple[float | None, float | None, float | None]:
    if prefix in row:
        return row[prefix], row[f"{prefix}_lower"], row[f"{prefix}_upper"]
    return row[f"{prefix}ratio"], row[f"{prefix}ratio_lower"], row[f"{prefix}ratio_upper"]


def tried_sentences(tried: JudgedChanges) -> list[Sentence]:
    """Return the cautious sentence of every judged change."""
    found = []
    for judged in tried.judged:
        name = _id(judged)
        ids = tuple(
            [f"{name}/{side}" for side in _FROM_ROW]
            + [f"{name}/ratio/{prefix.strip('_') or 'crude'}" for prefix in _RATIOS]
        )
        found.append(Sentence(_said(judged), ids, judged.change.title, "tried"))
    return found


def still_moved(tried: JudgedChanges, since: str) -> list[Sentence]:
    """Return a sentence for each change since which a measure stands at another level.

    Parameters
    ----------
    tried : JudgedChanges
        The improvement log, judged.
    since : str
        Month from which changes are recent enough to be told again.
    """
    found = []
    for change in tried.changes:
        found_moved = [
            judged for judged in tried.judged if judged.change == change if moved(judged.effect)
        ]
        if found_moved and since <= change.started_month:
            found.append(_stands(change, found_moved, tried.labels))
    return found


def _stands(
    change: LoggedChange, moved: Sequence[JudgedChange], labels: Mapping[str, str]
) -> Sentence:
    parts = [
        f"{words.lower_first(judged.measure.title)} "
        f"{figure(float(judged.effect.after.rate))} {judged.measure.unit} "
        f"({figure(float(judged.effect.before.rate))} before)"
        for judged in moved
    ]
    text = (
        f"Since {words.month(change.started_month)} at {_where(change, labels)}: "
        f"{words.joined(parts)}. An association, not a proof."
    )
    ids = tuple(f"{_id(judged)}/{side}" for judged in moved for side in _FROM_ROW)
    return Sentence(text, ids, change.title, _anchor(change))


def _where(change: LoggedChange, labels: Mapping[str, str]) -> str:
    return words.joined([labels.get(site, site) for site in change.sites]) or "all sites"


def _anchor(change: LoggedChange) -> str:
    return f"change-{slug(change.change_id)}"


def tried_pieces(tried: JudgedChanges, page: Page) -> list[str]:
    """Return the section: each change with its sentences and figures, then one table."""
    if not tried.changes:
        return ["No change is logged."]
    shown = [block("note", prose(CAUTION))]
    for change in tried.changes:
        shown += _one_change(change, tried, page)
    if tried.judged:
        shown.append(_table(tried))
    if tried.messages:
        shown.append(markdown.bullets([prose(message) for message in tried.messages]))
    return shown


def _one_change(change: LoggedChange, tried: JudgedChanges, page: Page) -> list[str]:
    lead = f"From {words.month(change.started_month)} at {_where(change, tried.labels)}."
    heading = f"### {markdown.text(change.title)} {{#{_anchor(change)}}}"
    judged = [one for one in tried.judged if one.change.change_id == change.change_id]
    said = [prose(_said(one)) for one in judged]
    drawn = [_figure(one, page) for one in judged]
    parts = [heading, markdown.text(lead)]
    if said:
        parts.append(markdown.bullets(said))
    if drawn:
        parts.append(block("figures", *drawn))
    return parts


def _said(judged: JudgedChange) -> str:
    """Return the sentences about a change; the caution stands once, above them all."""
    return sentence(
        judged.effect, title=judged.measure.title, unit=judged.measure.unit, with_caution=False
    )


def _figure(judged: JudgedChange, page: Page) -> str:
    name = f"change-{slug(judged.change.change_id)}-{slug(judged.measure.name)}"
    return block("one", *page.figure(name, judged.figure()))


def _table(tried: JudgedChanges) -> str:
    columns = (
        TableColumn("Change", 24),
        TableColumn("Measure", 24),
        TableColumn("Before", 9, True),
        TableColumn("After", 9, True),
        TableColumn("Against sites without it, given drift", 18, True),
        TableColumn("The same before the change", 18, True),
        TableColumn("After ÷ before, same case mix", 18, True),
    )
    rows = []
    for judged in tried.judged:
        row = judged.as_json()
        cells = [figure(row["before_rate"]), figure(row["after_rate"])]
        cells += [_limits(*_ratio(row, p)) for p in ("against_drift", "placebo", "adjusted_")]
        title = markdown.text(judged.change.title)
        rows.append([title, markdown.text(judged.measure.title), *cells])
    caption = "Logged changes: rates before and after, and their ratio; rates in the measure's unit"
    return markdown.table(columns, rows, caption)


def _limits(value: float | None, lower: float | None, upper: float | None) -> str:
    if value is None:
        return "not given"
    return f"{words.ratio(value)} ({_end(lower)} to {_end(upper)})"


def _end(value: float | None) -> str:
    return "no limit" if value is None else words.ratio(value)


def tried_sheet(tried: JudgedChanges) -> Sheet:
    """Return every figure of every judged change for the workbook."""
    rows = tried.as_json()
    columns = tuple(rows[0]) if rows else ("change_id",)
    cells: Sequence[tuple[str | float | None, ...]] = [tuple(row.values()) for row in rows]
    return Sheet("Changes", columns, tuple(cells))


def short_table(tried: JudgedChanges) -> str:
    """Return each change and measure in a row: before, after, and what may be said of it."""
    if not tried.judged:
        return "No change can be judged yet."
    columns = (
        TableColumn("Change, since", 36),
        TableColumn("Measure (unit)", 32),
        TableColumn("Before", 8, is_number=True),
        TableColumn("After", 8, is_number=True),
        TableColumn("In short", 16),
    )
    rows = [
        [
            markdown.text(f"{one.change.title}, {words.month(one.change.started_month)}"),
            markdown.text(f"{one.measure.title} ({one.measure.unit})"),
            figure(float(one.effect.before.rate)),
            figure(float(one.effect.after.rate)),
            _in_short(one),
        ]
        for one in tried.judged
    ]
    return markdown.table(columns, rows, "Logged changes; associations, not proof")


def _in_short(judged: JudgedChange) -> str:
    if judged.effect.is_too_few:
        return "too few to tell"
    return moved(judged.effect) or "no clear change"
