"""The programme's settings under the names from which rules in SQL read them."""

from collections.abc import Iterable

import duckdb

from pipeline.records.plan import literal
from pipeline.settings import Settings

# The views of `sql/views/00_setting.sql`, which hold the defaults.
SETTING_TABLES = frozenset({"setting", "dose_ceiling", "symptom_tier"})
NUMBERS = ("removal_by_hour", "answer_minutes")


def settings_selects(settings: Settings) -> dict[str, str]:
    """Return the select of each of `SETTING_TABLES` under these settings, in SQL of any engine."""
    ceilings = sorted((c.drug, c.from_age_years, c.below_age_years, c.mg_kg_h)
                      for c in settings.dose_ceilings)  # fmt: skip
    return {
        "setting": _rows({"name": "varchar", "value": "double"},
                         [(name, getattr(settings, name)) for name in NUMBERS]),
        "dose_ceiling": _rows({"drug": "varchar", "from_age_years": "integer",
                               "below_age_years": "integer", "mg_kg_h": "double"}, ceilings),
        "symptom_tier": _rows({"symptom": "varchar", "tier": "varchar"},
                              sorted(settings.symptom_tiers.items())),
    }  # fmt: skip


def _rows(columns: dict[str, str], rows: Iterable[tuple[str | float, ...]]) -> str:
    """Return a select of rows, or of none, with columns of these types."""
    listed = [f"({', '.join(map(_value, row))})" for row in rows]
    nothing = f"({', '.join('null' for _ in columns)})"
    cast = ", ".join(f"cast({name} as {type_}) as {name}" for name, type_ in columns.items())
    values = f"values {', '.join(listed or [nothing])}"
    return f"select {cast} from ({values}) as own ({', '.join(columns)}) where {bool(listed)}"


def _value(cell: str | float) -> str:
    return literal(cell) if isinstance(cell, str) else repr(cell)


def settings_text(settings: Settings | None = None) -> str:
    """Return a text that differs where rules in SQL read other settings; the defaults' of None."""
    return "\n".join(settings_selects(settings or Settings()).values())


def put_settings(connection: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    """Cover the defaults with the programme's settings: temporary names come first."""
    for name, select in settings_selects(settings).items():
        connection.execute(f"create or replace temp view {name} as {select}")
