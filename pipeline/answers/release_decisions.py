"""Which counts of new quarters are told in a release, decided once and kept in the store."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.disclosure.choice import Clock
from pipeline.disclosure.frozen import FIELDS, NETWORK, Base, History, Item
from pipeline.disclosure.telling import tell_quarter
from pipeline.disclosure.told import Decision
from pipeline.measures import release_ledger as ledger
from pipeline.measures.catalogue import MeasureKind, load_catalogue
from pipeline.measures.release_counts import LEADING, Counted, counted_in_release, release_counts
from pipeline.settings import Settings
from pipeline.store import Store

_WEIGHTS = {MeasureKind.OUTCOME: 40.0, MeasureKind.PROCESS: 20.0, MeasureKind.BALANCING: 30.0}
_OTHER_WEIGHTS = {"base": 1000.0, "reason": 5.0, "hour": 1.0}
_LEADING_WEIGHT = 200.0


def decide_release(
    store: Store, kept: Sequence[str], new: Sequence[str], *, settings: Settings, clock: Clock
) -> None:
    """Freeze the counts of new quarters one by one, and decide what is told of them."""
    things = counted_in_release()
    counted_now = release_counts(store, things, new, settings)
    items = _items(things, counted_now.single)
    ledger.keep_counts(store, counted_now.rows)
    every = (*kept, *new)
    counts = ledger.frozen_counts(store, [item.name for item in items], FIELDS, every)
    decisions = [Decision(*row[1:7]) for row in ledger.told_figures(store, "9999").rows()]
    told: list[ledger.Told] = []
    for t in range(len(every) - len(new), len(every)):
        history = History(
            items=items,
            quarters=every[: t + 1],
            groups={family: groups for family, (groups, _) in counts.items()},
            values={family: values[:, :, : t + 1] for family, (_, values) in counts.items()},
            implied=counted_now.implied,
            step=max(10, settings.small_cell - 1),
        )
        made = tell_quarter(history, decisions, t, threshold=settings.small_cell, clock=clock)
        told += [_row(history, decision) for decision in made]
        decisions += made
    ledger.keep_figures(store, told)


def _items(things: Sequence[Counted], single: frozenset[str]) -> tuple[Item, ...]:
    return tuple(
        Item(
            name=thing.name,
            weight=_weight(thing, place),
            base=_base(thing),
            has_others=thing.is_proportion,
            is_single=thing.name in single,
            is_counted=thing.kind != "base",
            is_yearly=thing.kind in ("reason", "hour"),
            is_grouped=thing.kind in ("base", "measure"),
        )
        for place, thing in enumerate(things)
    )


def _base(thing: Counted) -> Base:
    return "catheters" if thing.base == "catheters" else "exposure"


def _weight(thing: Counted, place: int) -> float:
    """Say what telling a thing is worth; no two are worth quite the same."""
    if thing.name in LEADING:
        worth = _LEADING_WEIGHT
    elif thing.kind == "measure":
        worth = _WEIGHTS[load_catalogue()[thing.name].kind]
    else:
        worth = _OTHER_WEIGHTS[thing.kind] * (2.0 if thing.name.endswith(("24", "48", "72")) else 1)
    return worth - place / 1000


def _row(history: History, decision: Decision) -> ledger.Told:
    """Return a decision as it is kept: with what is told, and nothing where it is withheld."""
    names = (decision.item, decision.family, decision.group, decision.first, decision.last)
    events, base = None, None
    if not decision.why:
        item = [kind.name for kind in history.items].index(decision.item)
        span = (history.quarters.index(decision.first), history.quarters.index(decision.last))
        family = decision.family
        g = 0 if family == NETWORK else history.groups[family].index(decision.group)
        base = float(history.window(item, span, family)[1][g])
        if history.items[item].is_counted:
            events = int(history.sums("events", item, span, family)[g])
    return (history.quarters[-1], *names, decision.why, events, base)
