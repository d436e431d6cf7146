"""Catheters removed early, counted with more and with less patience before the planned end."""

from dataclasses import dataclass

from pipeline.store import Store


@dataclass(frozen=True, slots=True)
class EarlyWithin:
    """Of `catheters` those removed early, where the last `grace_h` hours do not count as early."""

    grace_h: int
    removed_early: int
    catheters: int


def early_by_grace(store: Store, quarter: str) -> tuple[EarlyWithin, ...]:
    """Return the counts of a quarter for 0, 6 and 12 h of grace; empty where nothing is known."""
    rows = store.rows(
        "select grace_h, cast(sum(removed_early) as bigint), cast(sum(catheters) as bigint)"
        " from early_removal_grace where placed_quarter = ? group by grace_h order by grace_h",
        [quarter],
    )
    return tuple(EarlyWithin(*row) for row in rows)
