"""The programme's settings as tables of a session, where rules in SQL read them."""

import duckdb

from pipeline.settings import Settings

# The views of `sql/views/00_setting.sql`, which hold the defaults.
SETTING_TABLES = frozenset({"setting", "dose_ceiling", "symptom_tier"})
NUMBERS = ("removal_by_hour", "answer_minutes")


def put_settings(connection: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    """Cover the defaults with the programme's settings: temporary names come first."""
    connection.execute("create or replace temp table setting (name varchar, value double)")
    for name in NUMBERS:
        connection.execute("insert into setting values (?, ?)", [name, getattr(settings, name)])
    connection.execute(
        "create or replace temp table dose_ceiling (drug varchar, from_age_years integer,"
        " below_age_years integer, mg_kg_h double)"
    )
    for c in settings.dose_ceilings:
        connection.execute(
            "insert into dose_ceiling values (?, ?, ?, ?)",
            [c.drug, c.from_age_years, c.below_age_years, c.mg_kg_h],
        )
    connection.execute("create or replace temp table symptom_tier (symptom varchar, tier varchar)")
    for item in settings.symptom_tiers.items():
        connection.execute("insert into symptom_tier values (?, ?)", list(item))
