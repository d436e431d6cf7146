"""What the shell completes: names from the catalogue and from the store.

Nothing that goes wrong here is shown: a shell that waits for a completion has no
place for a message.
"""

import click
from click.shell_completion import CompletionItem

from pipeline.errors import DwellError


def measure_names(
    ctx: click.Context, param: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Complete the name of a measure, with its title."""
    from pipeline.measures.catalogue import load_catalogue

    cards = load_catalogue().values()
    return [CompletionItem(m.name, help=m.title) for m in cards if m.name.startswith(incomplete)]


def described_names(
    ctx: click.Context, param: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Complete the name of a record, view or measure."""
    from pipeline.measures.dictionary import entries

    return [CompletionItem(e.name) for e in entries(None) if e.name.startswith(incomplete)]


def question_names(
    ctx: click.Context, param: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Complete the name of a worked question, with the question."""
    from pipeline.measures.questions import load_questions

    found = load_questions().values()
    return [CompletionItem(q.name, help=q.title) for q in found if q.name.startswith(incomplete)]


def extract_columns(
    ctx: click.Context, param: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Complete a column of an extract, with what it means."""
    from pipeline.measures.extract import columns_to_choose_from

    found = columns_to_choose_from().values()
    return [
        CompletionItem(c.name, help=c.description) for c in found if c.name.startswith(incomplete)
    ]


def site_codes(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete the code of a site in the store, with its label."""
    return _from_store(ctx, incomplete, "select site, label from site order by site")


def quarter_names(
    ctx: click.Context, param: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Complete a quarter in which the store has placements, the latest first."""
    rows = (
        "select placed_quarter, count(*)::varchar || ' catheters' from episode_dwell"
        " group by placed_quarter order by placed_quarter desc"
    )
    return _from_store(ctx, incomplete, rows)


def change_ids(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Complete a logged change, with its title."""
    rows = "select change_id, title from change order by started_month, change_id"
    return _from_store(ctx, incomplete, rows)


def load_numbers(
    ctx: click.Context, param: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Complete the number of a load that stands, the latest first."""
    rows = (
        "select load_id::varchar, 'as of ' || as_of from load"
        " where kind = 'load' and undone_by is null order by load_id desc"
    )
    return _from_store(ctx, incomplete, rows)


def _from_store(ctx: click.Context, incomplete: str, rows: str) -> list[CompletionItem]:
    """Return what begins as was typed; the select gives a value and a few words on it."""
    from pipeline.cli.options import DEFAULT_DB  # which names what is completed here
    from pipeline.store import open_store

    try:
        with open_store(ctx.params.get("db") or DEFAULT_DB) as store:
            found = store.rows(rows)
    except DwellError:
        return []
    return [CompletionItem(v, help=words) for v, words in found if v.startswith(incomplete)]
