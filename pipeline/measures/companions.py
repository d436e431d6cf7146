"""What is printed beside a measure, and not charted: its parts, and how far it can be trusted.

Each file of ``sql/beside/MEASURE`` is a select and a card like those of `sql/measures`. What
contacts tell of depends on how many families they reach: beside each such measure stand
those of ``sql/beside/told_by_contacts``, and the measure itself by the days reached.
"""

from dataclasses import replace
from functools import cache

from pipeline.measures.catalogue import Measure, read_measure
from pipeline.resources import resource

TOLD_BY_CONTACTS = "told_by_contacts"
BY_DAYS_REACHED = {
    "every_day_reached": ("every day at home reached", "home_days_reached >= home_days"),
    "some_days_not_reached": ("some days at home not reached", "home_days_reached < home_days"),
}


def companions(measure: Measure) -> tuple[Measure, ...]:
    """Return what is printed beside a measure, in the order in which it is printed."""
    found = _of_folder(measure.name)
    if measure.is_told_by_contacts:
        found += _of_folder(TOLD_BY_CONTACTS)
        found += tuple(_stratum(measure, name) for name in BY_DAYS_REACHED)
    return found


@cache
def _of_folder(name: str) -> tuple[Measure, ...]:
    folder = resource("sql", "beside") / name
    cards = [read_measure(path) for path in sorted(folder.glob("*.sql"))]
    return tuple(replace(card, name=f"{name}/{card.name}") for card in cards)


def _stratum(measure: Measure, name: str) -> Measure:
    words, condition = BY_DAYS_REACHED[name]
    return replace(
        measure,
        name=f"{measure.name}/{name}",
        title=f"{measure.title}, {words}",
        reads=tuple({*measure.reads, "contact_summary"}),
        sql=(
            f"select measured.* from (\n{measure.sql}\n) as measured"
            " inner join contact_summary on measured.episode_id = contact_summary.episode_id"
            f" where {condition}"
        ),
    )
