"""Small folders of records, and stores made from them (all invented)."""

import datetime as dt
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

from pipeline.records.folder import find_sources
from pipeline.records.mapping_file import load_mapping
from pipeline.store import open_store
from pipeline.store.load import LoadResult, load_files

AS_OF = dt.date(2026, 1, 15)
EPISODE = (
    "episode_id,patient_key,site,placed_month,month_order,age_years,weight_kg,surgeon_type,"
    "nerve_target,planned_dwell_h,removed_h,removal_reason\n"
)
CONTACT = "contact_id,episode_id,at_h,direction,reached,topic\n"
VISIT = "visit_id,episode_id,at_h,kind,relation\n"
SITE = "site,label,opened_month\n"


def episode(key: str = "e1", order: int = 1, **other: Any) -> str:
    """Return a line of an episode that breaks no rule, but for what `other` says."""
    cells = {
        "episode_id": key, "patient_key": "p1", "site": "avocet", "placed_month": "2025-04",
        "month_order": order, "age_years": 9, "weight_kg": 31.5, "surgeon_type": "sports",
        "nerve_target": "femoral", "planned_dwell_h": 72, "removed_h": 70.5,
        "removal_reason": "completed",
    }  # fmt: skip
    assert set(other) <= set(cells)
    return ",".join(str(cell) for cell in (cells | other).values()) + "\n"


def contact(key: str = "c1", of: str = "e1", **other: Any) -> str:
    """Return a line of a contact that breaks no rule, but for what `other` says."""
    cells = {
        "contact_id": key, "episode_id": of, "at_h": 20, "direction": "service",
        "reached": "yes", "topic": "routine",
    }  # fmt: skip
    return ",".join(str(cell) for cell in (cells | other).values()) + "\n"


def write(folder: Path, files: dict[str, str | bytes]) -> Path:
    """Write files to a folder, made where it is not there; return it."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in files.items():
        data = content if isinstance(content, bytes) else content.encode("utf-8")
        (folder / name).write_bytes(data)
    return folder


@cache
def empty_store() -> bytes:
    """Return the bytes of a store without records: making one takes longer than copying it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "empty.duckdb"
        with open_store(path, read_only=False):
            pass
        return path.read_bytes()


def load(
    db: Path, place: Path, mapping: Path | None = None, *, make: bool = False, **more: Any
) -> LoadResult:
    """Load a folder or file as of a fixed day; with `make`, the load makes the store itself."""
    if not make and not db.exists():
        db.write_bytes(empty_store())
    site = load_mapping(mapping) if mapping else None
    more.setdefault("as_of", AS_OF)
    return load_files(db, find_sources(place, site), mapping=site, **more)


def rows(db: Path, sql: str) -> list[tuple[Any, ...]]:
    """Return the rows of a select on a store."""
    with open_store(db) as store:
        return store.rows(sql)


def contents(db: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Return every table of a store, in a fixed order: to see whether anything changed."""
    with open_store(db) as store:
        names = store.rows(
            "select table_name from duckdb_tables() where not internal order by table_name"
        )
        return {name: store.rows(f"from {name} order by all") for (name,) in names}
