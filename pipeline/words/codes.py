"""Codes as words: reasons as they stand in "removal for dislodgement", columns, all others."""

NOUNS: dict[str, str] = {
    "completed": "a completed course",
    "dislodged": "dislodgement",
    "leakage": "leakage",
    "dressing_failure": "dressing failure",
    "infection_signs": "signs of infection",
    "toxicity_symptoms": "symptoms of toxicity",
    "inadequate_analgesia": "inadequate analgesia",
    "numbness_weakness": "numbness or weakness",
    "pump_fault": "a pump fault",
    "imaging": "imaging",
    "family_request": "the family's request",
    "other": "another reason",
    "not_recorded": "a reason not recorded",
}

# Codes of which the words do not follow by taking the underscore away.
LABELS: dict[str, str] = {
    "foot_ankle": "foot and ankle",
    "numbness_weakness": "numbness or weakness",
    "rare": "rare reasons",  # reasons with few children, counted together
}

# How the name of a number ends, and what a step of it is called; the longer endings first.
UNITS = {"_ml_h": "ml/h", "_mg_kg_h": "mg/kg/h", "_years": "year", "_kg": "kg", "_pct": "%"}
UNITS |= {"_ml": "ml", "_h": "hour"}
# Numbers whose name does not follow by taking the unit away.
QUANTITIES: dict[str, tuple[str, str]] = {
    "placed_hour": ("hour of placement", "hour"),
    "runtime_h": ("run-time of the pump", "hour"),
}


def words_of(code: str) -> str:
    """Return a code as words, without a capital."""
    return LABELS.get(code, code.replace("_", " "))


def noun_of(reason: str) -> str:
    """Return a reason for use after "removal for"; an unknown one as its words."""
    return NOUNS.get(reason, words_of(reason))


def effect_of(column: str, level: str | None) -> str:
    """Say what a coefficient of a column stands for: "age, per year", "skin glue: yes".

    Parameters
    ----------
    column : str
        Name of the column.
    level : str or None
        The level that is compared with another; None for a step of a number.
    """
    if level is not None:
        return f"{words_of(column)}: {words_of(level)}"
    name, unit = quantity_of(column)
    return f"{name}, per {unit}" if unit else name


def quantity_of(column: str) -> tuple[str, str]:
    """Return what a column measures, and its unit where it is a number: "age" and "year"."""
    if column in QUANTITIES:
        return QUANTITIES[column]
    for suffix, unit in UNITS.items():
        if column.endswith(suffix):
            return words_of(column.removesuffix(suffix)), unit
    return words_of(column), ""
