"""A few rows that break a rule each, to show how rows are set aside."""

import csv
import io
from pathlib import Path

from synthetic_data.tables import spell_key

# The change to a good row, and the rule that it breaks, in words.
EPISODE_FAULTS: tuple[tuple[str, dict[str, str]], ...] = (
    ("a code that is not in the vocabulary", {"surgeon_type": "orthopaedics"}),
    ("an age beyond the layout's range", {"age_years": "47"}),
    ("a weight that is not a number", {"weight_kg": "forty"}),
    ("a month that is not one", {"placed_month": "2025-13"}),
    ("a site that is not listed", {"site": "bittern"}),
    (
        "an interval the wrong way round",
        {"removed_h": "", "removed_after_h": "72", "removed_before_h": "60"},
    ),
    (
        "a reason without a time",
        {
            "removed_h": "",
            "removed_after_h": "",
            "removed_before_h": "",
            "removal_reason": "dislodged",
        },
    ),
    (
        "a removal later than 14 days",
        {"removed_h": "410", "removed_after_h": "", "removed_before_h": ""},
    ),
    ("yes or no spelled otherwise", {"tunnelled": "maybe"}),
    ("no planned dwell", {"planned_dwell_h": ""}),
)
TWICE: tuple[str, dict[str, str]] = ("a key that comes twice", {})
CONTACT_FAULTS: tuple[tuple[str, dict[str, str]], ...] = (
    ("a pain score above ten", {"pain_score": "11"}),
    ("a time before placement", {"at_h": "-3"}),
)
ORDER_BEYOND_ANY = 90_000  # month_order of faulty rows, so that they break no other rule


def append_faults(folder: Path, *, seed: int, after: int) -> dict[str, int]:
    """Add the faulty rows to the CSV files of a folder, and return how many by record.

    Each is a copy of the last good row with one thing wrong. Among them are two
    that share a key, and a contact whose episode is missing.

    Parameters
    ----------
    seed : int
        The seed with which the folder was written.
    after : int
        Number of episodes written; faulty rows get keys beyond them.
    """
    good = _last_row(folder / "episode.csv")
    episodes = []
    for number, (_, change) in enumerate((*EPISODE_FAULTS, TWICE, TWICE)):
        key = spell_key("episode_id", after + min(number, len(EPISODE_FAULTS)), seed)
        order = str(ORDER_BEYOND_ANY + number)
        episodes.append({**good, "episode_id": key, "month_order": order, **change})
    called = _last_row(folder / "contact.csv")
    nowhere = spell_key("episode_id", after + len(EPISODE_FAULTS) + 1, seed)
    changes = [change for _, change in CONTACT_FAULTS] + [{"episode_id": nowhere}]
    contacts = []
    for number, change in enumerate(changes):
        key = spell_key("contact_id", -1 - number, seed)
        contacts.append({**called, "contact_id": key, **change})
    _append(folder / "episode.csv", episodes)
    _append(folder / "contact.csv", contacts)
    return {"episode": len(episodes), "contact": len(contacts)}


def _last_row(path: Path) -> dict[str, str]:
    lines = path.read_text("utf-8").splitlines()
    return next(csv.DictReader([lines[0], lines[-1]]))


def _append(path: Path, rows: list[dict[str, str]]) -> None:
    text = io.StringIO()
    csv.DictWriter(text, rows[0].keys(), lineterminator="\n").writerows(rows)
    with path.open("a", encoding="utf-8") as file:
        file.write(text.getvalue())
