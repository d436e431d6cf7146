"""What the shell completes: names from the catalogue and from the store.

Nothing that goes wrong here is shown: a shell that waits for a completion has no
place for a message.
"""

from collections.abc import Callable

import click
from click.shell_completion import CompletionItem

from pipeline.errors import DwellError

Completer = Callable[[click.Context, click.Parameter, str], list[CompletionItem]]


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


def held_names(kind: str) -> Completer:
    """Complete a name that the store holds: a `site`, `quarter`, `change` or `load`."""

    def complete(
        ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        from pipeline.cli.options import DEFAULT_DB  # which names what is completed here
        from pipeline.store import open_store
        from pipeline.store.holdings import names_held

        try:
            with open_store(ctx.params.get("db") or DEFAULT_DB) as store:
                found = names_held(store, kind)
        except DwellError:
            return []
        return [CompletionItem(v, help=words) for v, words in found if v.startswith(incomplete)]

    return complete


site_codes = held_names("site")
quarter_names = held_names("quarter")
change_ids = held_names("change")
load_numbers = held_names("load")
